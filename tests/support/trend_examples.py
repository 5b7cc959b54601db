"""Trends of an invented unit as the service would answer them, made by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from msgspec import UNSET

from schemas.onsets import OnsetBaseline, OnsetEvidence, OnsetFinding
from schemas.specs import SpecReference
from schemas.trends import Spread, TrendPlace, TrendPoint, UnitTrend

LEAKING = OnsetFinding(
    state="ONSET",
    blocks_read=57,
    blocks_left_out=3,
    judged_to=6_000,
    place="RIG-A/3",
    baseline=OnsetBaseline(
        pressure_decay_mpa=0.06,
        fluid_temperature_c=45.0,
        decay_per_degree_mpa=0.0,
        first_counted=501,
        last_counted=3_500,
    ),
    low_cycles=4_210,
    high_cycles=4_700,
    slope_mpa_per_1000=0.1,
    evidence=OnsetEvidence(
        established_last_counted=4_700,
        alarm_first_counted=4_901,
        alarm_last_counted=5_000,
        alarm_decay_mpa=0.12,
        alarm_sum_mpa=0.06,
        dead_band_mpa=0.015,
        pulled_back_cycles=230,
        judged_against="OWN",
        clean_first_counted=4_401,
        clean_last_counted=4_500,
    ),
)


def trend(count: int = 60, **changes: Any) -> UnitTrend:
    """Points of a block each; the first three lie within the mask after the start."""
    fields: dict[str, Any] = {
        "unit_id": "unit-1",
        "lot_number": "CC25-0117",
        "unit_serial": "U-001",
        "reduction_version": 3,
        "block_cycles": 100,
        "block_count": count,
        "points": [point(number) for number in range(count)],
        "decay_limit_mpa": 0.6,
        "dead_band_mpa": 0.015,
        "mask_after_start_cycles": 300,
        "onset": LEAKING,
        "spec": SpecReference(spec_id="CC25-Q1", version=1, hash="sha256:00"),
    }
    return UnitTrend(**(fields | changes))


def point(number: int) -> TrendPoint:
    decay = 0.06 + 0.0001 * max(100 * number - 4_300, 0)
    spread = Spread(lowest=decay - 0.002, median=decay, highest=decay + 0.003)
    first = 100 * number + 1
    place = {"rig_id": "RIG-A", "station_no": 3, "run_id": "run-1", "lap": 1}
    return TrendPoint(
        first_counted=first,
        last_counted=first + 99,
        block_count=1,
        left_out_count=int(number < 3),
        started_at=datetime(2026, 3, 2, 6, tzinfo=UTC) + timedelta(seconds=250 * number),
        first=TrendPlace(cycle_in_run=first, **place),
        last=TrendPlace(cycle_in_run=first + 99, **place),
        pressure_decay_mpa=UNSET if number < 3 else spread,
        left_out_decay_mpa=spread if number < 3 else UNSET,
        pressure_peak_mpa=Spread(lowest=33.25, median=33.25, highest=33.25),
        rise_time_s=Spread(lowest=0.3, median=0.31, highest=0.32),
    )
