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


class LoggingOff(Struct, frozen=True, kw_only=True):
    """
    Nothing of a unit is written for `cycles` cycles, from `at_cycles` counted cycles on.

    The rig goes on cycling and counting; rows are missing, and nobody declared it.
    """

    unit_no: int
    at_cycles: int
    cycles: int


class StationMove(Struct, frozen=True, kw_only=True):
    """A unit goes on at another station of its rig after its inspection at `at_cycles`."""

    unit_no: int
    at_cycles: int
    station_no: int


class RigSideLeak(Struct, frozen=True, kw_only=True):
    """
    A gauge-port fitting, part of the rig, leaks at a unit's inspection and is put right.

    It does not count against the lot, and is a hazard all the same.
    """

    unit_no: int
    at_cycles: int


class SensorError(Struct, frozen=True, kw_only=True):
    """
    A station's transducer was found to read wrong: it shows gain x true + offset.

    The rig steers by what it reads, so the rows look as they always do. In doubt is
    everything from the last good check on, `from_at`, until it was found out.
    """

    rig_id: str
    station_no: int
    gain: float
    offset_mpa: float
    from_at: datetime
    found_at: datetime
    reason: str


class Repeat(Struct, frozen=True, kw_only=True):
    """A file of one rig that is sent twice, byte for byte."""

    rig_id: str
    part_no: int


class UnitFacts(Struct, frozen=True, kw_only=True):
    """
    One unit: where it runs, its true life and how fast its decay grows before the end.

    A seal that decays is seen in the rows. A rod seal leaks outside: it hardly shows in the
    rows and is found at the first inspection after it began. A leak may come and go.
    """

    unit_no: int
    unit_serial: str
    component_batch: str
    rig_id: str
    station_no: int
    life_cycles: int
    growth_mpa_per_1000: float
    mode: Literal["SEAL_DECAY", "ROD_SEAL_LEAK"] = "SEAL_DECAY"
    comes_and_goes: bool = False


class RightAnswer(Struct, frozen=True, kw_only=True):
    """
    What the service must say about a lot.

    `reliability_lower` is the limit at the worst shape of the range, three digits.
    `open_holds` are the names of the holds that stay open although the verdict
    is given. `verdict_before` is the verdict before the last records, where they change
    it. What is None is not stated.
    """

    verdict: Literal["ACCEPT", "REJECT", "CONTINUE", "HOLD"]
    kind: Literal["NOT_DEMONSTRATED", "SHOWN_BELOW_REQUIREMENT"] | None = None
    reliability_lower: float | None = None
    open_holds: tuple[str, ...] | None = None
    verdict_before: Literal["ACCEPT", "REJECT", "CONTINUE", "HOLD"] | None = None


class LotFacts(Struct, frozen=True, kw_only=True):
    """
    Everything that is true of a lot at full length; cycles are those of scale 1.

    `reached_cycles` is given where the test is still going: the last inspection
    lies there and every unit has begun its next run. `unheated_rigs` do not warm up
    before they test: their cold cycles are test cycles out of the temperature band. That
    the units `taken_off` were, after their test, is on record.
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
    logging_off: tuple[LoggingOff, ...] = ()
    moves: tuple[StationMove, ...] = ()
    rig_side_leaks: tuple[RigSideLeak, ...] = ()
    sensor_errors: tuple[SensorError, ...] = ()
    unheated_rigs: tuple[str, ...] = ()
    taken_off: tuple[int, ...] = ()
    reached_cycles: int | None = None


class RunPlan(Struct, frozen=True, kw_only=True):
    """
    One run of one unit, planned to the row.

    Cycles count unless the fluid is still cold at the start or they lie in one of the
    `short_bursts` (first row, length). The cold ones are a warm-up where the rig
    preheats, test cycles out of the temperature band where it does not. Instants are
    microseconds of true time; the rig's clock differs from it after `jump_row`. After
    `reset_row` rows the counter starts again. `gap_rows` from `gap_row` on, all of which
    count, are not written.
    """

    run_no: int
    run_id: str
    station_no: int
    start_us: int
    row_count: int
    cold_rows: int
    preheated: bool
    short_bursts: tuple[tuple[int, int], ...]
    counted_before: int
    odometer_before: int
    stop_purpose: StopPurpose | None
    reset_row: int = 0
    jump_row: int = 0
    jump_us: int = 0
    gap_row: int = 0
    gap_rows: int = 0

    @property
    def short_rows(self) -> int:
        """Rows that did not reach pressure."""
        return sum(length for _, length in self.short_bursts)

    @property
    def counted_cycles(self) -> int:
        """Cycles that meet every condition, written or not."""
        return self.row_count - self.cold_rows - self.short_rows

    @property
    def logged_rows(self) -> int:
        """Rows that are written."""
        return self.row_count - self.gap_rows

    @property
    def last_cycle_in_run(self) -> int:
        """What the controller's counter shows on the last row."""
        return self.row_count - self.reset_row


class Leak(Struct, frozen=True, kw_only=True):
    """
    How a unit's decay grows: from `onset_cycles` counted cycles on, which may lie beyond the test.

    In an `off_spells` entry (after, to and including) the leak has gone, to come back as wide
    as it would have been.
    """

    onset_cycles: float
    growth_mpa_per_cycle: float
    off_spells: tuple[tuple[int, int], ...] = ()


class UnitPlan(Struct, frozen=True, kw_only=True):
    """
    A unit's whole test.

    `failed_at` is the counted cycle that begins the sustained decay; `found_between`
    are the counts of the last clean inspection and of the one that found a leak
    outside. Each is none where the unit does not fail so.
    """

    facts: UnitFacts
    scale: float
    ending: Literal["FAILED", "FAILED_BETWEEN", "RUN_OUT", "SUSPENDED", "RUNNING"]
    failed_at: int | None
    found_between: tuple[int, int] | None
    credited_cycles: int
    leak: Leak
    runs: tuple[RunPlan, ...]
    inspections: tuple[NewInspection, ...]

    @property
    def unlogged_cycles(self) -> int:
        """Cycles that were done and not written."""
        return sum(run.gap_rows for run in self.runs)


class LotPlan(Struct, frozen=True, kw_only=True):
    """The timetable of a lot at one scale."""

    facts: LotFacts
    scale: float
    units: tuple[UnitPlan, ...]
    rig_events: tuple[NewRigEvent, ...]

    @property
    def row_count(self) -> int:
        """Rows of all units."""
        return sum(run.logged_rows for unit in self.units for run in unit.runs)
