"""Everything that stage two needs to know about one unit."""

from datetime import datetime
from typing import Literal

from msgspec import Struct

from schemas.holds import HoldEvidence
from schemas.lots import NewInspection, NewRigEvent, RigSettings
from schemas.sensor_corrections import RowCorrection
from schemas.station_drifts import StationDrift
from schemas.stretches import CycleTally, StretchSummary

CannotBuildCause = Literal["UNIT", "RIG", "UNCLEAR"]


class LocatedInspection(Struct, frozen=True, kw_only=True):
    """
    An inspection turned into counts: cycles of the unit before it, counted and logged.

    `unlogged_cycles` counters lack a row before it. `since_start_cycles` were logged
    between the last start of the unit and the inspection.
    """

    inspection: NewInspection
    counted_cycles: int
    logged_cycles: int
    up_to: CycleTally = CycleTally()
    unlogged_cycles: int = 0
    since_start_cycles: int = 0


class LocatedEvent(Struct, frozen=True, kw_only=True):
    """A rig event that concerns the unit, with the counted and logged cycles before it."""

    event: NewRigEvent
    counted_cycles: int
    logged_cycles: int
    up_to: CycleTally = CycleTally()


class DeclaredLife(Struct, frozen=True, kw_only=True):
    """A life that was uploaded as such, in a lives table."""

    ending: str
    cycles: int | None
    cycles_low: int | None
    cycles_high: int | None
    failure_mode: str | None


class LowFluidStop(Struct, frozen=True, kw_only=True):
    """A low-fluid stop of a supply while the unit was on it."""

    stopped_at: datetime
    counted_cycles: int
    rig_id: str
    run_id: str
    cycle_in_run: int


class IdentityConflict(Struct, frozen=True, kw_only=True):
    """A stretch that ran while another unit was in its place, or the unit in another."""

    stretch_key: int
    lap: int
    evidence: HoldEvidence


class SignedFor(Struct, frozen=True, kw_only=True):
    """A person's signature under a failure record: which failure it was given for."""

    failure_id: str
    signed_by: str


class FailureAnalysis(Struct, frozen=True, kw_only=True):
    """
    What a failure record says of the unit's failure, and who signed it.

    `clean_cycles` is given where the examination found older, hidden damage: counted
    cycles up to which it was surely absent.
    """

    record_id: str
    record_key: str
    failure_mode: str
    signatures: list[SignedFor] = []
    clean_cycles: int | None = None


class LocatedOnset(Struct, frozen=True, kw_only=True):
    """Where leak onset is established: its counted cycle, and the cycles logged up to it."""

    counted_cycles: int
    logged_cycles: int
    up_to: CycleTally = CycleTally()


class UnitEvidence(Struct, frozen=True, kw_only=True):
    """
    Evidence about one unit, from rows and from people.

    `stretches` are in the unit's order. `kindest` and `harshest` replace them
    where conflicting rows leave two readings; `conflicts` says where they are.
    `by_clock` is the order of the clock where the counter says another one.
    `is_newest_on_station` tells that nothing ran on the station after the unit's
    last stretch; `is_overdue` that the unit's rig has gone on for longer than the
    specification allows silence.
    `cannot_build` names the stretches, by key, that ended because the station
    could no longer build pressure, and whose fault that was.
    `identity_conflicts` are the stretches that may not be this unit's.
    Where a sensor was found to be off, `sensor_corrections` say how by stretch, the
    evidence is on true pressures, and `as_read` is the same unit on the readings.
    `analyses` are its failure records, oldest first.
    `located_onset` is where a leak began, if that is a failure of the unit.
    `station_drifts` are those of its stations while it was on them.
    """

    unit_id: str
    lot_number: str
    unit_serial: str
    listed: bool
    stretches: list[StretchSummary]
    kindest: list[StretchSummary]
    harshest: list[StretchSummary]
    inspections: list[LocatedInspection]
    events: list[LocatedEvent]
    low_fluid_stops: list[LowFluidStop]
    declared: list[DeclaredLife]
    rigs: dict[str, RigSettings]
    is_newest_on_station: bool
    is_overdue: bool
    cannot_build: dict[int, CannotBuildCause] = {}
    component_batch: str | None = None
    conflicts: list[HoldEvidence] = []
    by_clock: list[StretchSummary] = []
    identity_conflicts: list[IdentityConflict] = []
    sensor_corrections: dict[int, list[RowCorrection]] = {}
    as_read: "UnitEvidence | None" = None
    analyses: list[FailureAnalysis] = []
    located_onset: LocatedOnset | None = None
    station_drifts: list[StationDrift] = []
