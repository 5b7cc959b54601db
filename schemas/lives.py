"""The life of one unit: how it ended, after how many counted cycles, and why."""

from datetime import datetime
from typing import Literal

from msgspec import UNSET, Struct, UnsetType

from schemas.edge_rules import EdgeShare
from schemas.holds import Hold
from schemas.onsets import OnsetFinding
from schemas.station_drifts import StationDrift

Ending = Literal["FAILED", "FAILED_BETWEEN", "RUN_OUT", "SUSPENDED", "RUNNING", "VOID"]
ENDINGS: tuple[str, ...] = ("FAILED", "FAILED_BETWEEN", "RUN_OUT", "SUSPENDED", "RUNNING", "VOID")
Mark = Literal[
    "PLANNED_NOT_COUNTED",
    "BEYOND_PLAN",
    "END_CHECK_DUE",
    "OVERDUE",
    "ROWS_MISSING",
    "COUNTER_RESET",
    "COUNTER_WRAP",
    "CYCLED_AFTER_FAILURE",
    "NOT_STARTED",
    "NOT_IN_SAMPLE",
    "FROM_LIVES_TABLE",
    "FAILED_BY_ONSET",
    "NARROWED_BY_ONSET",
    "RESTART_WEEP",
    "FAILED_BEFORE_START",
    "ODOMETER_DISAGREES",
    "STATION_DRIFT",
]


class CycleTotals(Struct, frozen=True, kw_only=True):
    """
    Cycles of a unit. logged = counted + not counted.

    `not_counted_by` gives each cycle its first reason, so that it adds up to not
    counted; `not_counted_by_every` gives a cycle every reason that it has.
    `inferred_cycles` have no row because logging was declared as thinned; a life counts
    them beside the counted ones. `unlogged_cycles` have none and earn nothing.
    `odometer_cycles` is what the stations' own odometers counted meanwhile, where every
    stretch has one: logged + inferred + unlogged ones, unless a counter lies.
    """

    logged_cycles: int
    counted_cycles: int
    not_counted_cycles: int
    not_counted_by: dict[str, int]
    not_counted_by_every: dict[str, int]
    unlogged_cycles: int
    inferred_cycles: int | UnsetType = UNSET
    odometer_cycles: int | UnsetType = UNSET


class UpToEnding(Struct, frozen=True, kw_only=True):
    """The same up to the unit's ending, which may lie before the last row."""

    logged_cycles: int
    counted_cycles: int
    inferred_cycles: int | UnsetType = UNSET


class FailureSeen(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    The failure that ended a life. `failure_mode` is UNANALYSED until a record names it.

    `record_id` is the failure record whose word counts. `pending_record_id` is a newer one
    that would make the failure count less, as `pending_mode`, and lacks signatures.
    `counts_less` says that it counts less than it would without signatures. `failure_id`
    names the failure in signatures.
    """

    seen_as: str
    failure_mode: str
    critical: bool
    relevant: bool
    rig_id: str | UnsetType = UNSET
    run_id: str | UnsetType = UNSET
    cycle_in_run: int | UnsetType = UNSET
    inspection_key: str | UnsetType = UNSET
    failure_id: str | UnsetType = UNSET
    record_id: str | UnsetType = UNSET
    pending_record_id: str | UnsetType = UNSET
    pending_mode: str | UnsetType = UNSET
    counts_less: bool = False


NoticeCode = Literal["NON_RELEVANT_LEAK", "CRITICAL_FAILURE_SEEN"]


class LifeNotice(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A hazard that people must hear of, whatever it does to a verdict."""

    code: NoticeCode
    seen_as: str
    failure_mode: str
    inspection_key: str | UnsetType = UNSET
    record_id: str | UnsetType = UNSET


class Outcome(Struct, frozen=True, kw_only=True):
    """
    A unit's result as the statistics see it.

    `cycles` is the exact life or the count reached; a bracket has `cycles_low`
    and `cycles_high` instead. `credited_cycles` is what acceptance may count,
    `most_cycles` what caution counts when a lot is to be shown below its
    requirement. `has_ended` is false while more cycles may follow.
    """

    ending: Ending
    credited_cycles: int
    most_cycles: int
    failed: bool
    has_ended: bool
    critical: bool = False
    cycles: int | None = None
    cycles_low: int | None = None
    cycles_high: int | None = None


class CountedAgain(Struct, frozen=True, kw_only=True):
    """A unit's result if its failure counted in full, whatever was signed about it."""

    outcome: Outcome
    best: Outcome
    worst: Outcome


class StretchLine(Struct, frozen=True, kw_only=True):
    """One stretch in a unit's life: where, when, what it added, how it stopped."""

    rig_id: str
    run_id: str
    station_no: int
    lap: int
    first_cycle_in_run: int
    last_cycle_in_run: int
    first_started_at: datetime
    last_started_at: datetime
    logged_cycles: int
    counted_cycles: int
    not_counted_by: dict[str, int]
    unlogged_cycles: int
    counted_before: int
    stop_class: str
    stop_reason: str | UnsetType = UNSET
    inferred_cycles: int | UnsetType = UNSET


class UnitLife(Struct, frozen=True, kw_only=True):
    """
    A unit's life under one specification, with the open questions about it.

    `decided_holds` are the questions that a person answered; the life has taken their
    answers already. `onset` says where a leak began, if the specification asks for it.
    `notices` are hazards to be told at once. `if_counted` stands where persons signed that
    the failure counts less than it would. `edge` tells how many of its cycles lie within
    the sensor's uncertainty of an edge of the pressure band, where that is on record;
    `station_drifts` are those of its stations while it was on them, with its own cycles.
    """

    unit_id: str
    lot_number: str
    unit_serial: str
    ending: Ending
    credited_cycles: int
    totals: CycleTotals
    up_to_ending: UpToEnding
    verified_cycles: int
    marks: list[str]
    holds: list[Hold]
    stretches: list[StretchLine]
    best: Outcome
    worst: Outcome
    outcome: Outcome
    after_credit: bool = False
    cycles: int | UnsetType = UNSET
    cycles_low: int | UnsetType = UNSET
    cycles_high: int | UnsetType = UNSET
    failure: FailureSeen | UnsetType = UNSET
    component_batch: str | UnsetType = UNSET
    last_rig_id: str | UnsetType = UNSET
    last_station_no: int | UnsetType = UNSET
    last_row_at: datetime | UnsetType = UNSET
    decided_holds: list[Hold] = []
    onset: OnsetFinding | UnsetType = UNSET
    notices: list[LifeNotice] = []
    if_counted: CountedAgain | UnsetType = UNSET
    edge: EdgeShare | UnsetType = UNSET
    station_drifts: list[StationDrift] = []
