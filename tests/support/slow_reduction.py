"""A slow reduction, row by row: the referee of stage one and of the walk to sustained decay.

Written from the rules in words and not from the product's statements: plain loops over
dict rows. A value of None means that the upload has no such column, NaN that the cell says
nothing. Only lists and dicts come out.
"""

from __future__ import annotations

import itertools
import math
import statistics
from datetime import timedelta
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


def tally_of(rows: list[Row], spec: Row, full_scale: float | None) -> Row:
    """How some rows were tested: the modes, the pressures that were too low, high or clipped."""
    limit = spec["conditions"].get("pressure_invalidation_mpa")
    test, low, silent, only_silent, high, clipped = 0, 0, 0, 0, 0, 0
    for row in rows:
        reasons, peak = every_reason(row, spec, full_scale), row["pressure_peak_mpa"]
        is_test = (row["station_mode"] or "TEST") in spec["conditions"]["station_modes"]
        test += is_test
        if is_test and "NO_READING" not in reasons:
            low += peak < spec["conditions"]["pressure_lower_mpa"]
            silent += "CONDITION_NOT_RECORDED" in reasons
            only_silent += reasons == ["CONDITION_NOT_RECORDED"]
        if full_scale is None or peak <= 1.5 * full_scale:
            high += limit is not None and peak > limit
            clipped += full_scale is not None and peak >= full_scale
    return {
        "test_cycles": test,
        "under_pressure_cycles": low,
        "not_recorded_cycles": silent,
        "only_not_recorded_cycles": only_silent,
        "invalidating_cycles": high,
        "clipped_cycles": clipped,
        "inferred_cycles": 0,
    }


def left_out_before(row: Row, before: Row | None, spec: Row, full_scale: float | None) -> int:
    """Cycles that declared thinning left out between two counted neighbours."""
    every = row.get("logged_every") or 1
    if before is None or row["cycle_in_run"] - before["cycle_in_run"] != every:
        return 0
    both_count = not any(first_reason(each, spec, full_scale) for each in (before, row))
    return every - 1 if both_count else 0


def inferred_in(lap: list[Row], spec: Row, full_scale: float | None) -> int:
    """Cycles of a lap that count without a row; before a last cycle that gave way none does."""
    burst = spec["failure"].get("burst_below_mpa")
    inferred = 0
    for before, row in itertools.pairwise(lap):
        gave_way = row is lap[-1] and burst is not None and row["pressure_peak_mpa"] < burst
        inferred += 0 if gave_way else left_out_before(row, before, spec, full_scale)
    return inferred


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
    inferred = inferred_in(lap, spec, full_scale)
    return {
        "logged_cycles": len(lap),
        "counted_cycles": counted + inferred,
        "not_counted_by": reasons,
        "not_counted_by_every": every,
        "unlogged_cycles": missing - inferred,
        "unlogged_before_first": missing_before_first,
        "first_cycle_in_run": lap[0]["cycle_in_run"],
        "last_cycle_in_run": lap[-1]["cycle_in_run"],
        "stop_reason": lap[-1]["stop_reason"],
        "under_pressure_at_end": attempts,
        "condition_absent_cycles": absent,
        "missing_after_counted": missing_after_counted(lap, spec, full_scale),
        "clipped_counted_cycles": sum(
            row["pressure_peak_mpa"] >= full_scale
            for row in lap
            if full_scale is not None and first_reason(row, spec, full_scale) is None
        ),
        "tally": tally_of(lap, spec, full_scale) | {"inferred_cycles": inferred},
        **baselines_of(lap, spec, full_scale),
    }


def baselines_of(lap: list[Row], spec: Row, full_scale: float | None) -> Row:
    """Medians of the first settled block of a lap and of its last block; None: none to tell."""
    none = {"baseline_first": None, "baseline_last": None}
    reduction = spec["reduction"]
    if reduction.get("swap_step") is None:
        return none
    block, settling = 100, reduction.get("warm_up_cycles") or 0
    if reduction.get("onset") is not None:
        block = reduction["onset"]["block_cycles"]
        settling = reduction["onset"]["mask_after_start_cycles"]
    lowest, highest = lap[0]["cycle_in_run"], lap[-1]["cycle_in_run"]
    if highest - lowest + 1 < settling + block:
        return none
    first = range(lowest + settling, lowest + settling + block)
    last = range(highest - block + 1, highest + 1)
    found = none
    for name, counters in (("baseline_first", first), ("baseline_last", last)):
        rows = [
            row
            for row in lap
            if row["cycle_in_run"] in counters and first_reason(row, spec, full_scale) is None
        ]
        decays = [decay for row in rows if (decay := decay_of(row)) is not None]
        rises = [row["rise_time_s"] for row in rows if known(row["rise_time_s"])]
        if max(len(decays), len(rises)) >= block / 2:
            found = found | {
                name: {
                    "pressure_decay_mpa": median_of(decays, block),
                    "rise_time_s": median_of(rises, block),
                }
            }
    return found


def median_of(values: list[float], block: int) -> float | None:
    return statistics.median(values) if len(values) >= block / 2 else None


def median_spacing_us(rows: list[Row]) -> int | None:
    """Median time from the start of a row to the start of the next, in microseconds."""
    starts = sorted(row["started_at"] for row in rows)
    gaps = [
        (later - earlier) // timedelta(microseconds=1)
        for earlier, later in itertools.pairwise(starts)
    ]
    return round(statistics.median(gaps)) if gaps else None


def missing_after_counted(lap: list[Row], spec: Row, full_scale: float | None) -> int:
    """Counters that lack after the last counted cycle of a lap; 0 where none was counted."""
    missing, previous, seen_counted = 0, lap[0]["cycle_in_run"], False
    for row in lap:
        missing += max(row["cycle_in_run"] - previous - 1, 0)
        previous = row["cycle_in_run"]
        if first_reason(row, spec, full_scale) is None:
            missing, seen_counted = 0, True
    return missing if seen_counted else 0


def sustained_decay(stretches: list[list[Row]], spec: Row, full_scale: float | None) -> Row | None:
    """
    The first sustained pressure decay of a unit, or None.

    `stretches` hold all rows of one stretch each, in the order in which they were
    run. The answer numbers the first cycle of the sustained run among the counted
    and among all logged cycles of the unit, and tells how many counters lack between
    it and the counted cycle before it, how many counted cycles before those may belong to
    it, and how the cycles up to it were tested.
    """
    walk = _Walk(spec, full_scale)
    station, missing = None, 0
    for rows in stretches:
        for lap in laps_of(rows):
            if station not in (None, lap[0]["station_no"]):
                walk.move()
            station = lap[0]["station_no"]
            missing += max(lap[0]["cycle_in_run"] - 1, 0)
            if lap[0]["cycle_in_run"] > 1:
                walk.interrupt()
            before = None
            for row in lap:
                left_out = left_out_before(row, before, spec, full_scale)
                lacking = 0 if before is None else row["cycle_in_run"] - before["cycle_in_run"] - 1
                missing += lacking - left_out
                if lacking > left_out:
                    walk.interrupt()
                before = row
                if walk.take(row, missing, left_out):
                    return walk.answer
                if first_reason(row, spec, full_scale) is None:
                    missing = 0
    return None


class _Walk:
    """Counts cycles one by one and watches the pressure decay of those that count."""

    def __init__(self, spec: Row, full_scale: float | None) -> None:
        self.spec, self.full_scale = spec, full_scale
        self.limit = spec["failure"]["decay_limit_mpa"]
        self.rule = spec["failure"]["persistence"]["rule"]
        self.length = spec["failure"]["persistence"]["cycles"]
        self.counted, self.logged, self.inferred = 0, 0, 0
        self.on_station: list[bool] = []
        self.recent: list[Row] = []
        self.taken: list[Row] = []
        self.answer: Row | None = None

    def interrupt(self) -> None:
        self.recent = []

    def move(self) -> None:
        self.recent, self.on_station = [], []

    def begun_before(self) -> int:
        """Counted cycles on the station before this one that a streak may have begun with."""
        if self.rule == "MOVING_AVERAGE":
            return min(2, len(self.on_station))
        over = itertools.takewhile(bool, reversed(self.on_station))
        return len([*over])

    def take(self, row: Row, missing: int, left_out: int) -> bool:
        self.logged += 1
        self.taken.append(row)
        if first_reason(row, self.spec, self.full_scale) is not None:
            return False
        decay = decay_of(row)
        seen = {
            "counted_cycles": self.counted + 1,
            "logged_cycles": self.logged,
            "decay": decay,
            "missing_before": missing + left_out,
            "over_before": self.begun_before() if missing + left_out else 0,
            "inferred_cycles": self.inferred,
        }
        self.counted += 1 + left_out
        self.inferred += left_out
        self.on_station.append(decay is not None and decay > self.limit)
        if decay is None:
            self.recent = []
            return False
        if self.rule == "CONSECUTIVE":
            self.recent = [*self.recent, seen] if decay > self.limit else []
            found = len(self.recent) >= self.length
        else:
            self.recent = [*self.recent[-2:], seen]
            decays = [each["decay"] for each in self.recent]
            found = len(decays) == 3 and sum(decays) / 3 > self.limit
        if found:
            first = self.recent[0]
            up_to = tally_of(self.taken[: first["logged_cycles"]], self.spec, self.full_scale)
            up_to["inferred_cycles"] = first["inferred_cycles"]
            self.answer = first | {"run_id": row["run_id"], "up_to": up_to}
        return found
