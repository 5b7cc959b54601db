"""What stage one of the reduction says about one stretch: the input of stage two."""

from datetime import datetime
from typing import Any

from msgspec import Struct

NOT_COUNTED_REASONS: tuple[str, ...] = (
    "NO_READING",
    "MODE",
    "CALIBRATION_FOUND_OUT",
    "OVER_PRESSURE",
    "UNDER_PRESSURE",
    "TROUGH_HIGH",
    "RISE_SLOW",
    "DWELL_SHORT",
    "TEMPERATURE",
    "CONDITION_NOT_RECORDED",
    "OTHER",
)
"""Why a cycle does not count, in the order that decides which reason is the first."""

OVER_INVALIDATION = "OVER_INVALIDATION"
FULL_SCALE = "FULL_SCALE"
"""Kinds of peaks that are told besides the reasons why a cycle does not count."""


class CycleGroup(Struct, frozen=True, kw_only=True):
    """
    Cycles that miss the same conditions, as stage one counts them.

    `misses` is 0 for cycles that count, else one bit for every reason in the order of
    `NOT_COUNTED_REASONS`; `highest` is the last of them by counter.
    """

    misses: int
    cycles: int
    invalidating_cycles: int = 0
    clipped_cycles: int = 0
    highest: int = 0


class CycleTally(Struct, frozen=True, kw_only=True):
    """
    Cycles of a part of the rows that say how the unit was tested, counted or not.

    `test_cycles` were run in a mode in which cycles count. Of those with a reading,
    `under_pressure_cycles` stayed below the lower limit and `not_recorded_cycles`
    lack a cell that a condition needs; `only_not_recorded_cycles` would count if the
    cell said the condition was met. `invalidating_cycles` exceeded the invalidation
    limit, `clipped_cycles` reached the full scale of the sensor: in any mode.
    """

    test_cycles: int = 0
    under_pressure_cycles: int = 0
    not_recorded_cycles: int = 0
    only_not_recorded_cycles: int = 0
    invalidating_cycles: int = 0
    clipped_cycles: int = 0


class CycleRange(Struct, frozen=True, kw_only=True):
    """Where in a stretch cycles of one kind lie, by counter, and their highest peak."""

    first_cycle_in_run: int
    last_cycle_in_run: int
    highest_peak_mpa: float | None = None


class Baseline(Struct, frozen=True, kw_only=True):
    """Median of a block of settled, counted cycles; None where too few of them tell it."""

    pressure_decay_mpa: float | None
    rise_time_s: float | None


class Streak(Struct, frozen=True, kw_only=True):
    """
    Counted cycles over the decay limit, one after another without a gap.

    `first_counted` and `first_logged` number the streak's first cycle among the
    counted and among all logged cycles of its stretch, from 1; `up_to` tells of the
    same cycles. `missing_before` counters lack between the streak's first cycle and
    the counted cycle before it, or the beginning of the run where none was counted.
    """

    length_cycles: int
    first_counted: int
    first_logged: int
    first_cycle_in_run: int
    missing_before: int = 0
    up_to: CycleTally = CycleTally()


class StretchSummary(Struct, frozen=True, kw_only=True):
    """
    One stretch (rig, run, station, unit, lap) reduced under one set of rules.

    `condition_absent_cycles` are among the counted cycles: a condition of the
    specification could not be judged because the upload has no such column. So are
    `clipped_counted_cycles`: their peak may have been any above the full scale.
    `ranges` say where, by kind: a reason, OVER_INVALIDATION or FULL_SCALE.
    `missing_before_end` counters lack between the last cycle and the counted cycle
    before it; it is told of stretches that end in a burst or in failed attempts.
    `missing_after_counted` counters lack after its last counted cycle.
    `baseline_first` is that of its first block of cycles after the start has settled,
    `baseline_last` that of its last block; a stretch too short for one has none.
    `persistent` is the first streak inside the stretch that is long enough on
    its own; `leading` starts at the first counted cycle, `trailing` ends at the
    last one, so that a streak across two runs can be joined. `under_pressure_at_end`
    is the number of cycles below the lower limit with which the stretch ends.
    """

    stretch_key: int
    unit_key: int
    rig_id: str
    run_id: str
    station_no: int
    lap: int
    is_last_lap: bool
    logged_cycles: int
    counted_cycles: int
    not_counted_by: dict[str, int]
    not_counted_by_every: dict[str, int]
    unlogged_cycles: int
    unlogged_before_first: int
    first_cycle_in_run: int
    last_cycle_in_run: int
    first_started_at: datetime
    last_started_at: datetime
    odometer_first: int | None
    odometer_last: int | None
    stop_reason: str | None
    ends_in_burst: bool
    last_cycle_counted: bool
    under_pressure_at_end: int
    condition_absent_cycles: int
    persistent: Streak | None
    leading: Streak | None
    trailing: Streak | None
    supply_at_end_mpa: float | None = None
    tally: CycleTally = CycleTally()
    clipped_counted_cycles: int = 0
    ranges: dict[str, CycleRange] = {}
    missing_before_end: int = 0
    missing_after_counted: int = 0
    baseline_first: Baseline | None = None
    baseline_last: Baseline | None = None


class StageOneRows(Struct, frozen=True, kw_only=True):
    """
    Result rows of the stage-one texts `totals`, `ends` and `streaks_*`, as they came.

    A streak ends with the groups of cycles up to its first one and the counters that
    lack before it. `attempts` are (stretch, lap, cycles below the lower limit at its
    end), `missing_before_end` (stretch, lap, counters that lack before its last cycle),
    `missing_after_counted` the same after its last counted cycle. `baselines` are the
    result of the text of that name, after the length of a block in cycles.
    """

    totals: list[tuple[Any, ...]]
    ends: list[tuple[Any, ...]]
    streaks: list[tuple[Any, ...]]
    attempts: list[tuple[Any, ...]]
    peaks: list[tuple[Any, ...]] = []
    missing_before_end: list[tuple[int, int, int]] = []
    missing_after_counted: list[tuple[int, int, int]] = []
    baselines: list[tuple[Any, ...]] = []
