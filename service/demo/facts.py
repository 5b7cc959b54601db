"""The words of the demo: what is true of a lot, and the timetable that follows from it."""

from datetime import datetime
from typing import Literal

from msgspec import Struct

from schemas.lots import NewInspection, NewRigEvent

StopPurpose = Literal[
    "DONE", "CHECK", "SHIFT", "GUARD", "POWER", "HOT", "LOW", "DECAY", "NO_PRESSURE", "BURST"
]
"""Why a rig stops a station, in words; every rig has its own raw code for each."""


class Law(Struct, frozen=True, kw_only=True):
    """The Weibull law that the lives of a lot were drawn from."""

    shape: float
    scale_cycles: int


class Stop(Struct, frozen=True, kw_only=True):
    """
    An interruption of a whole rig.

    It happens when the rig's lead unit has done `at_cycles` counted cycles; a
    cold one lets the fluid cool down, so that every station warms up again.
    """

    rig_id: str
    at_cycles: int
    minutes: int
    purpose: StopPurpose
    cold: bool = False


class ClockJump(Struct, frozen=True, kw_only=True):
    """The rig's clock is set by `seconds` when its lead unit has done `at_cycles`."""

    rig_id: str
    at_cycles: int
    seconds: int


class CounterReset(Struct, frozen=True, kw_only=True):
    """The controller's counter falls back to 1 within one run of a unit."""

    unit_no: int
    run_no: int


class Reexport(Struct, frozen=True, kw_only=True):
    """A second file with rows of one run, some of them with other values."""

    unit_no: int
    run_no: int
    first_row: int
    row_count: int
    changed_every: int


class Repeat(Struct, frozen=True, kw_only=True):
    """A file of one rig that is sent twice, byte for byte."""

    rig_id: str
    part_no: int


class UnitFacts(Struct, frozen=True, kw_only=True):
    """One unit: where it runs, its true life and how fast its decay grows before the end."""

    unit_no: int
    unit_serial: str
    component_batch: str
    rig_id: str
    station_no: int
    life_cycles: int
    growth_mpa_per_1000: float


class RightAnswer(Struct, frozen=True, kw_only=True):
    """
    What the service must say about a lot.

    `reliability_lower` is the limit at the worst shape of the range, three digits.
    `open_holds` are the names of the holds that stay open although the verdict
    is given. What is None is not stated.
    """

    verdict: Literal["ACCEPT", "REJECT", "CONTINUE", "HOLD"]
    kind: Literal["NOT_DEMONSTRATED", "SHOWN_BELOW_REQUIREMENT"] | None = None
    reliability_lower: float | None = None
    open_holds: tuple[str, ...] | None = None


class LotFacts(Struct, frozen=True, kw_only=True):
    """
    Everything that is true of a lot at full length; cycles are those of scale 1.

    `reached_cycles` is given where the test is still going: the last inspection
    lies there and every unit has begun its next run.
    """

    lot_number: str
    title: str
    spec_id: str
    seed: int
    law: Law
    starts_at: datetime
    units: tuple[UnitFacts, ...]
    right_answer: RightAnswer
    stops: tuple[Stop, ...] = ()
    clock_jumps: tuple[ClockJump, ...] = ()
    counter_resets: tuple[CounterReset, ...] = ()
    reexports: tuple[Reexport, ...] = ()
    repeats: tuple[Repeat, ...] = ()
    reached_cycles: int | None = None


class RunPlan(Struct, frozen=True, kw_only=True):
    """
    One run of one unit, planned to the row.

    Rows count unless they lie in the warm-up at the start or in one of the
    `short_bursts` (first row, length). Instants are microseconds of true time;
    the rig's clock differs from it after `jump_row`. After `reset_row` rows the
    counter starts again.
    """

    run_no: int
    run_id: str
    start_us: int
    row_count: int
    warm_up_rows: int
    short_bursts: tuple[tuple[int, int], ...]
    counted_before: int
    odometer_before: int
    stop_purpose: StopPurpose | None
    reset_row: int = 0
    jump_row: int = 0
    jump_us: int = 0

    @property
    def short_rows(self) -> int:
        """Rows that did not reach pressure."""
        return sum(length for _, length in self.short_bursts)

    @property
    def counted_cycles(self) -> int:
        """Rows that meet every condition."""
        return self.row_count - self.warm_up_rows - self.short_rows

    @property
    def last_cycle_in_run(self) -> int:
        """What the controller's counter shows on the last row."""
        return self.row_count - self.reset_row


class UnitPlan(Struct, frozen=True, kw_only=True):
    """
    A unit's whole test.

    `failed_at` is the counted cycle that begins the sustained decay, none where
    the unit does not fail. `decay_onset` is the counted cycle where growth
    begins, at `growth_mpa_per_cycle`; it may lie beyond the test.
    """

    facts: UnitFacts
    scale: float
    ending: Literal["FAILED", "RUN_OUT", "RUNNING"]
    failed_at: int | None
    credited_cycles: int
    decay_onset: float
    growth_mpa_per_cycle: float
    runs: tuple[RunPlan, ...]
    inspections: tuple[NewInspection, ...]


class LotPlan(Struct, frozen=True, kw_only=True):
    """The timetable of a lot at one scale."""

    facts: LotFacts
    scale: float
    units: tuple[UnitPlan, ...]
    rig_events: tuple[NewRigEvent, ...]

    @property
    def row_count(self) -> int:
        """Commanded cycles of all units."""
        return sum(run.row_count for unit in self.units for run in unit.runs)
