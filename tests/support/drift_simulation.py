"""Stations of one supply simulated hour by hour: what the watch over stations is tried on.

The peak follows the demo's row model: noise, a wander that the supply's stations share and an
offset of each station. Nothing here looks for a drift.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import numpy as np
from reduction_builders import FIRST_START, RIG, stretch

from schemas.stretches import StationHour, StretchSummary

CYCLES_IN_HOUR = 1440
SET_MPA = 33.25
NOISE_MPA = 0.18
WANDER_MPA = 0.10
OFFSET_MPA = 0.05
RESOLUTION_MPA = 0.004


def stations_of_a_supply(
    rng: np.random.Generator,
    *,
    station_count: int,
    hours: int,
    drift_mpa_per_hour: Mapping[int, float] | None = None,
    own_wander_mpa: float = 0.0,
) -> list[StretchSummary]:
    """
    One stretch of every station over the same hours, each cycle drawn.

    `drift_mpa_per_hour` is a straight drift of what a station reads, by station from 1;
    `own_wander_mpa` a slow swing of each station alone, with a period of its own.
    """
    drifts = drift_mpa_per_hour or {}
    clock = np.arange(hours)
    common = WANDER_MPA * np.sin(2 * np.pi * clock / rng.uniform(18, 40) + rng.uniform(0, 6))
    found = []
    for station in range(1, station_count + 1):
        own = own_wander_mpa * np.sin(2 * np.pi * clock / rng.uniform(30, 90) + rng.uniform(0, 6))
        level = SET_MPA + rng.normal(0, OFFSET_MPA) + common + own + drifts.get(station, 0) * clock
        peaks = rng.normal(level[:, None], NOISE_MPA, (hours, CYCLES_IN_HOUR))
        peaks = np.round(peaks / RESOLUTION_MPA) * RESOLUTION_MPA
        troughs = rng.normal(0.08, 0.01, (hours, CYCLES_IN_HOUR))
        found.append(
            ran(
                station,
                [
                    means(hour, peaks[hour].mean(), pressure_low_mpa=troughs[hour].mean())
                    for hour in range(hours)
                ],
            )
        )
    return found


def means(hour: int, peak_mpa: float, **others: Any) -> StationHour:
    """The means of hour number `hour`."""
    fields = {"counted_cycles": CYCLES_IN_HOUR} | others
    return StationHour(
        started_at=FIRST_START + timedelta(hours=hour), pressure_peak_mpa=float(peak_mpa), **fields
    )


def ran(station: int, hours: list[StationHour], **changes: Any) -> StretchSummary:
    """A stretch with these hours."""
    counted = sum(each.counted_cycles for each in hours)
    fields = {"key": station, "hours": hours, "rig_id": RIG} | changes
    return stretch(counted, station=station, **fields)
