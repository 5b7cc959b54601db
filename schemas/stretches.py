"""What stage one of the reduction says about one stretch: the input of stage two."""

from datetime import datetime

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


class Streak(Struct, frozen=True, kw_only=True):
    """
    Counted cycles over the decay limit, one after another without a gap.

    `first_counted` and `first_logged` number the streak's first cycle among the
    counted and among all logged cycles of its stretch, from 1.
    """

    length_cycles: int
    first_counted: int
    first_logged: int
    first_cycle_in_run: int


class StretchSummary(Struct, frozen=True, kw_only=True):
    """
    One stretch (rig, run, station, unit, lap) reduced under one set of rules.

    `condition_absent_cycles` are among the counted cycles: a condition of the
    specification could not be judged because the upload has no such column.
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
    invalidating_cycles: int
    clipped_cycles: int
    persistent: Streak | None
    leading: Streak | None
    trailing: Streak | None
    supply_at_end_mpa: float | None = None
