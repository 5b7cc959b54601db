"""A slow reduction, row by row: the referee of stage one and of the walk to sustained decay.

Written from the rules in words and not from the product's statements: plain loops over
dict rows. A value of None means that the upload has no such column, NaN that the cell says
nothing. Only lists and dicts come out.
"""

from __future__ import annotations

import math
from math import isnan
from typing import Any

Row = dict[str, Any]
PRESSURES = (
    "pressure_peak_mpa",
    "pressure_dwell_start_mpa",
    "pressure_dwell_end_mpa",
    "pressure_low_mpa",
)
WRAP_ENDS = (65_535, 4_294_967_295)


def known(value: float | None) -> bool:
    return value is not None and not isnan(value)


def first_reason(row: Row, spec: Row, full_scale: float | None) -> str | None:
    """Why the cycle does not count, first of the stated order; None if it counts."""
    return next(iter(every_reason(row, spec, full_scale)), None)


def every_reason(row: Row, spec: Row, full_scale: float | None) -> list[str]:
    """Everything that keeps the cycle from counting, in the stated order."""
    conditions = spec["conditions"]
    found = []
    if not all(is_reading(name, row[name], full_scale) for name in PRESSURES):
        found.append("NO_READING")
    if (row["station_mode"] or "TEST") not in conditions["station_modes"]:
        found.append("MODE")
    if row["pressure_peak_mpa"] > conditions["pressure_upper_mpa"]:
        found.append("OVER_PRESSURE")
    if row["pressure_peak_mpa"] < conditions["pressure_lower_mpa"]:
        found.append("UNDER_PRESSURE")
    for name, low, high, reason in bands(conditions):
        if known(row[name]) and not low <= row[name] <= high:
            found.append(reason)
    if any(row[name] is not None and isnan(row[name]) for name in needed_columns(spec)):
        found.append("CONDITION_NOT_RECORDED")
    return found


def is_reading(name: str, value: float | None, full_scale: float | None) -> bool:
    """Whether a pressure can be one: a peak above zero, nothing far outside the sensor."""
    if value is None or isnan(value):
        return True
    too_low = value <= 0 if name == "pressure_peak_mpa" else value < -0.1
    return not too_low and not (full_scale is not None and value > 1.5 * full_scale)


def bands(conditions: Row) -> list[tuple[str, float, float, str]]:
    """Columns with their limits, in the order of their reasons."""
    stated = (
        ("pressure_low_mpa", None, "pressure_low_max_mpa", "TROUGH_HIGH"),
        ("rise_time_s", None, "rise_time_max_s", "RISE_SLOW"),
        ("dwell_time_s", "dwell_time_min_s", None, "DWELL_SHORT"),
        (
            "fluid_temperature_c",
            "fluid_temperature_min_c",
            "fluid_temperature_max_c",
            "TEMPERATURE",
        ),
    )
    return [
        (
            name,
            conditions[low] if low else -math.inf,
            conditions[high] if high else math.inf,
            reason,
        )
        for name, low, high, reason in stated
    ]


def needed_columns(spec: Row) -> list[str]:
    """Columns without which a condition of the specification cannot be judged."""
    needed = [name for name, _, _, _ in bands(spec["conditions"])]
    if any(mode["seen_as"] == "DECAY" and mode["relevant"] for mode in spec["failure"]["modes"]):
        needed += ["pressure_dwell_start_mpa", "pressure_dwell_end_mpa"]
    return needed


def decay_of(row: Row) -> float | None:
    if known(row["pressure_dwell_start_mpa"]) and known(row["pressure_dwell_end_mpa"]):
        return float(row["pressure_dwell_start_mpa"] - row["pressure_dwell_end_mpa"])
    return None


def laps_of(rows: list[Row]) -> list[list[Row]]:
    """Rows of a stretch, cut where the counter does not rise."""
    counters = [row["cycle_in_run"] for row in rows]
    odometers = [row["station_cycle_total"] for row in rows]
    if all(value is not None for value in odometers):
        rows = sorted(rows, key=lambda row: (row["station_cycle_total"], row["started_at"]))
    elif len(set(counters)) < len(counters) or (min(counters) <= 1 and max(counters) in WRAP_ENDS):
        rows = sorted(rows, key=lambda row: (row["started_at"], row["cycle_in_run"]))
    else:
        rows = sorted(rows, key=lambda row: row["cycle_in_run"])
    laps: list[list[Row]] = []
    before = None
    for row in rows:
        if before is None or row["cycle_in_run"] <= before:
            laps.append([])
        laps[-1].append(row)
        before = row["cycle_in_run"]
    return laps


def summary_of(lap: list[Row], spec: Row, full_scale: float | None) -> Row:
    """Counts of one lap, its missing counters and the attempts with which it ends."""
    reasons: dict[str, int] = {}
    every: dict[str, int] = {}
    counted, attempts, absent = 0, 0, 0
    missing_before_first = max(lap[0]["cycle_in_run"] - 1, 0)
    missing = missing_before_first
    previous = lap[0]["cycle_in_run"]
    for row in lap:
        missing += max(row["cycle_in_run"] - previous - 1, 0)
        previous = row["cycle_in_run"]
        reason = first_reason(row, spec, full_scale)
        attempts = attempts + 1 if reason == "UNDER_PRESSURE" else 0
        if reason is None:
            counted += 1
            absent += any(row[name] is None for name in needed_columns(spec))
        else:
            reasons[reason] = reasons.get(reason, 0) + 1
        for each in every_reason(row, spec, full_scale):
            every[each] = every.get(each, 0) + 1
    return {
        "logged_cycles": len(lap),
        "counted_cycles": counted,
        "not_counted_by": reasons,
        "not_counted_by_every": every,
        "unlogged_cycles": missing,
        "unlogged_before_first": missing_before_first,
        "first_cycle_in_run": lap[0]["cycle_in_run"],
        "last_cycle_in_run": lap[-1]["cycle_in_run"],
        "stop_reason": lap[-1]["stop_reason"],
        "under_pressure_at_end": attempts,
        "condition_absent_cycles": absent,
    }


def sustained_decay(stretches: list[list[Row]], spec: Row, full_scale: float | None) -> Row | None:
    """
    The first sustained pressure decay of a unit, or None.

    `stretches` hold all rows of one stretch each, in the order in which they were
    run. The answer numbers the first cycle of the sustained run among the counted
    and among all logged cycles of the unit.
    """
    walk = _Walk(spec, full_scale)
    station = None
    for rows in stretches:
        for lap in laps_of(rows):
            if station not in (None, lap[0]["station_no"]):
                walk.interrupt()
            station = lap[0]["station_no"]
            if lap[0]["cycle_in_run"] > 1:
                walk.interrupt()
            if walk.needs_one_stretch:
                walk.interrupt()
            previous = lap[0]["cycle_in_run"] - 1
            for row in lap:
                if row["cycle_in_run"] != previous + 1:
                    walk.interrupt()
                previous = row["cycle_in_run"]
                if walk.take(row):
                    return walk.answer
    return None


class _Walk:
    """Counts cycles one by one and watches the pressure decay of those that count."""

    def __init__(self, spec: Row, full_scale: float | None) -> None:
        self.spec, self.full_scale = spec, full_scale
        self.limit = spec["failure"]["decay_limit_mpa"]
        self.rule = spec["failure"]["persistence"]["rule"]
        self.length = spec["failure"]["persistence"]["cycles"]
        self.needs_one_stretch = self.rule == "MOVING_AVERAGE"
        self.counted, self.logged = 0, 0
        self.recent: list[Row] = []
        self.answer: Row | None = None

    def interrupt(self) -> None:
        self.recent = []

    def take(self, row: Row) -> bool:
        self.logged += 1
        if first_reason(row, self.spec, self.full_scale) is not None:
            return False
        self.counted += 1
        decay = decay_of(row)
        if decay is None:
            self.recent = []
            return False
        seen = {"counted_cycles": self.counted, "logged_cycles": self.logged, "decay": decay}
        if self.rule == "CONSECUTIVE":
            self.recent = [*self.recent, seen] if decay > self.limit else []
            found = len(self.recent) >= self.length
        else:
            self.recent = [*self.recent[-2:], seen]
            decays = [each["decay"] for each in self.recent]
            found = len(decays) == 3 and sum(decays) / 3 > self.limit
        if found:
            self.answer = self.recent[0] | {"run_id": row["run_id"]}
        return found
