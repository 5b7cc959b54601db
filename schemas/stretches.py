"""What stage one of the reduction says about one stretch: the input of stage two."""

from datetime import datetime
from typing import Any

from msgspec import Struct

from schemas.blocks import BlockFigures

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
    "EDGE_DOUBT",
)
"""Why a cycle does not count, in the order that decides which reason is the first.

The place of a reason is its bit in stage one: a new one is added at the end."""

OVER_INVALIDATION = "OVER_INVALIDATION"
FULL_SCALE = "FULL_SCALE"
"""Kinds of peaks that are told besides the reasons why a cycle does not count."""


class CycleGroup(Struct, frozen=True, kw_only=True):
    """
    Cycles that miss the same conditions, as stage one counts them.

    `misses` is 0 for cycles that count, else one bit for every reason in the order of
    `NOT_COUNTED_REASONS`; `highest` is the last of them by counter. `inferred_cycles`
    have no row and come on top: declared thinning left them out between two that count.
    """

    misses: int
    cycles: int
    invalidating_cycles: int = 0
    clipped_cycles: int = 0
    highest: int = 0
    inferred_cycles: int = 0


class CycleTally(Struct, frozen=True, kw_only=True):
    """
    Cycles of a part of the rows that say how the unit was tested, counted or not.

    `test_cycles` were run in a mode in which cycles count. Of those with a reading,
    `under_pressure_cycles` stayed below the lower limit and `not_recorded_cycles`
    lack a cell that a condition needs; `only_not_recorded_cycles` would count if the
    cell said the condition was met. `invalidating_cycles` exceeded the invalidation
    limit, `clipped_cycles` reached the full scale of the sensor: in any mode.
    `inferred_cycles` count without a row of their own: logging was declared as thinned.
    """

    test_cycles: int = 0
    under_pressure_cycles: int = 0
    not_recorded_cycles: int = 0
    only_not_recorded_cycles: int = 0
    invalidating_cycles: int = 0
    clipped_cycles: int = 0
    inferred_cycles: int = 0


class CycleRange(Struct, frozen=True, kw_only=True):
    """Where in a stretch cycles of one kind lie, by counter, and their highest peak."""

    first_cycle_in_run: int
    last_cycle_in_run: int
    highest_peak_mpa: float | None = None


class Baseline(Struct, frozen=True, kw_only=True):
    """Median of a block of settled, counted cycles; None where too few of them tell it."""

    pressure_decay_mpa: float | None
    rise_time_s: float | None


class StationHour(Struct, frozen=True, kw_only=True):
    """Means of the counted cycles that a stretch started in one hour; None: not recorded."""

    started_at: datetime
    counted_cycles: int
    pressure_peak_mpa: float
    pressure_low_mpa: float | None = None
    pressure_decay_mpa: float | None = None
    rise_time_s: float | None = None


class Streak(Struct, frozen=True, kw_only=True):
    """
    Counted cycles over the decay limit, one after another without a gap.

    `first_counted` and `first_logged` number the streak's first cycle among the
    counted and among all logged cycles of its stretch, from 1; `up_to` tells of the
    same cycles. `missing_before` counters lack between the streak's first cycle and
    the counted cycle before it, or the beginning of the run where none was counted.
    `over_before` counted cycles right before it were over the limit too, but for the
    counters that lack among them.
    """

    length_cycles: int
    first_counted: int
    first_logged: int
    first_cycle_in_run: int
    missing_before: int = 0
    up_to: CycleTally = CycleTally()
    over_before: int = 0


class EdgeCycle(Struct, frozen=True, kw_only=True):
    """
    One of the first two or last two counted cycles of a stretch, for a mean across runs.

    `place` numbers it as a streak of one; `pressure_decay_mpa` is None where no decay was
    recorded.
    """

    place: Streak
    pressure_decay_mpa: float | None


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
    `blocks` are read only where leak onset is looked for, and kept apart.
    `uncertainty_mpa` is that of the sensor, None where it is not on record. Of the
    cycles that count where the reading decides, `at_edge_cycles` lie within it of an edge
    of the band; `guarded_cycles` are all that a guarded band judges in another way.
    `hours` are told where the specification watches the stations.
    `persistent` is the first streak inside the stretch that is long enough on
    its own; `leading` starts at the first counted cycle, `trailing` ends at the
    last one, so that a streak across two runs can be joined; `edge_cycles_judged` serve a
    moving average in the same way. `over_at_end` counted cycles at its end are over the
    limit, counters that lack among them passed over. `under_pressure_at_end`
    is the number of cycles below the lower limit with which the stretch ends.
    `calibration_first` and `calibration_last` are those that its first and last row name.
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
    calibration_first: str | None = None
    calibration_last: str | None = None
    tally: CycleTally = CycleTally()
    clipped_counted_cycles: int = 0
    ranges: dict[str, CycleRange] = {}
    missing_before_end: int = 0
    missing_after_counted: int = 0
    over_at_end: int = 0
    edge_cycles_judged: list[EdgeCycle] = []
    baseline_first: Baseline | None = None
    baseline_last: Baseline | None = None
    blocks: BlockFigures | None = None
    uncertainty_mpa: float | None = None
    at_edge_cycles: int = 0
    guarded_cycles: int = 0
    hours: list[StationHour] = []


class StageOneRows(Struct, frozen=True, kw_only=True):
    """
    Result rows of the stage-one texts `totals`, `ends` and `streaks_*`, as they came.

    A streak ends with the groups of cycles up to its first one, the counters that lack
    before it and the counted cycles right before those that are over the limit too.
    `inferred` are (stretch, lap, cycles without a row that count), `over_at_end` (stretch,
    lap, counted cycles over the limit at its end) where counters lack; `edge_cycles` are
    the first and last counted cycles with their decay, groups and counters that lack.
    `attempts` are (stretch, lap, cycles below the lower limit at its end),
    `missing_before_end` (stretch, lap, counters that lack before its last cycle),
    `missing_after_counted` the same after its last counted cycle. `baselines` are the
    result of the text of that name, after the length of a block in cycles; `hours` that
    of `station_hours`.
    """

    totals: list[tuple[Any, ...]]
    ends: list[tuple[Any, ...]]
    streaks: list[tuple[Any, ...]]
    attempts: list[tuple[Any, ...]]
    peaks: list[tuple[Any, ...]] = []
    missing_before_end: list[tuple[int, int, int]] = []
    missing_after_counted: list[tuple[int, int, int]] = []
    inferred: list[tuple[int, int, int]] = []
    over_at_end: list[tuple[int, int, int]] = []
    edge_cycles: list[tuple[Any, ...]] = []
    baselines: list[tuple[Any, ...]] = []
    hours: list[tuple[Any, ...]] = []
