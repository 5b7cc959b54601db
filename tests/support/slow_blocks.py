"""Blocks of counted cycles by a slow walk over rows: the referee of the statements that make them.

Written from the rules in words: a block holds so many counted cycles of a lap, one after
another by counter. Plain loops over dict rows, as in `slow_reduction`.
"""

from __future__ import annotations

import statistics
from typing import Any

from slow_reduction import Row, first_reason, known, laps_of


def blocks_of(rows: list[Row], spec: Row, full_scale: float | None, *, block: int) -> list[Row]:
    """Blocks of one stretch, lap by lap."""
    found = []
    for number, lap in enumerate(laps_of(rows), start=1):
        found += [{"lap": number} | each for each in _of_lap(lap, spec, full_scale, block)]
    return found


def _of_lap(lap: list[Row], spec: Row, full_scale: float | None, block: int) -> list[Row]:
    counted = [row for row in lap if first_reason(row, spec, full_scale) is None]
    counters = {row["cycle_in_run"] for row in lap}
    end_before = min(*counters, 1) - 1
    parts = [counted[first : first + block] for first in range(0, len(counted), block)]
    told = []
    for number, part in enumerate(parts):
        is_last = number == len(parts) - 1
        end = max(counters) if is_last else part[-1]["cycle_in_run"]
        lacking = sum(counter not in counters for counter in range(end_before + 1, end + 1))
        told.append(_figures(part) | {"missing_cycles": lacking})
        end_before = end
    return told


def _figures(part: list[Row]) -> Row:
    decays = [
        row["pressure_dwell_start_mpa"] - row["pressure_dwell_end_mpa"]
        for row in part
        if known(row["pressure_dwell_start_mpa"]) and known(row["pressure_dwell_end_mpa"])
    ]
    return {
        "counted_cycles": len(part),
        "first_cycle_in_run": part[0]["cycle_in_run"],
        "last_cycle_in_run": part[-1]["cycle_in_run"],
        "first_started_at": min(row["started_at"] for row in part),
        "decays": len(decays),
        "pressure_decay_mpa": _median(decays),
        "pressure_peak_mpa": _median([row["pressure_peak_mpa"] for row in part]),
        "rise_time_s": _median([row["rise_time_s"] for row in part if known(row["rise_time_s"])]),
        "fluid_temperature_c": _mean(
            [row["fluid_temperature_c"] for row in part if known(row["fluid_temperature_c"])]
        ),
    }


def _median(values: list[Any]) -> float | None:
    return statistics.median(values) if values else None


def _mean(values: list[Any]) -> float | None:
    return statistics.fmean(values) if values else None
