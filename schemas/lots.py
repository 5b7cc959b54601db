"""Lots, units, rigs and what people and rigs report about them."""

from datetime import datetime
from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.decisions import RowChange
from schemas.quantities import (
    CycleCount,
    Instant,
    Key,
    LeakClass,
    Name,
    PressureMpa,
    Text,
    UnitCount,
)

StopClass = Literal[
    "TARGET_REACHED", "RIG_STOP", "LOW_FLUID", "OPERATOR_STOP", "UNIT_SUSPECT", "UNKNOWN"
]
STOP_CLASSES: tuple[str, ...] = (
    "TARGET_REACHED",
    "RIG_STOP",
    "LOW_FLUID",
    "OPERATOR_STOP",
    "UNIT_SUSPECT",
)
"""Stop classes are valid raw codes too; every other raw code is mapped per rig."""

RegistrationState = Literal["REGISTERED", "UNREGISTERED"]


class _Read(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of everything read from a caller: unknown fields are refused."""


class NewLot(_Read, frozen=True, kw_only=True):
    """Registration of a lot. `lot_number` is the shop's own and unique."""

    lot_number: Name
    part_number: Name
    lot_size: UnitCount | None = None
    note: Text | None = None


class NewUnit(_Read, frozen=True, kw_only=True):
    """One unit of the sample."""

    unit_serial: Name
    component_batch: Name | None = None


class NewUnits(_Read, frozen=True, kw_only=True):
    """The sample of a lot, or more of it. A listed unit is never taken off the list."""

    units: Annotated[list[NewUnit], Meta(min_length=1, max_length=10_000)]


class NewAssignment(_Read, frozen=True, kw_only=True):
    """Makes one approved specification version the lot's current one."""

    spec_id: Key
    version: Annotated[int, Meta(ge=1)]
    reason: Text


class Assignment(Struct, frozen=True, kw_only=True):
    """A recorded assignment; the last one is current."""

    spec_id: str
    version: int
    hash: str
    reason: str
    assigned_at: datetime
    assigned_by: str


class Lot(Struct, frozen=True, kw_only=True):
    """A lot as the service knows it."""

    lot_id: str
    lot_number: str
    state: RegistrationState
    unit_count: int
    part_number: str | UnsetType = UNSET
    lot_size: int | UnsetType = UNSET
    note: str | UnsetType = UNSET
    assignment: Assignment | UnsetType = UNSET
    first_row_at: datetime | UnsetType = UNSET


class Unit(Struct, frozen=True, kw_only=True):
    """
    A unit of a lot. `listed` is false for a serial that the sample does not name.

    `changes` are withdrawals of uploads and corrections of serials that speak of the unit; they
    are told where one unit is asked for.
    """

    unit_id: str
    lot_id: str
    lot_number: str
    unit_serial: str
    listed: bool
    component_batch: str | UnsetType = UNSET
    changes: list[RowChange] | UnsetType = UNSET


class SensorSetting(_Read, frozen=True, kw_only=True):
    """A transducer of a rig and its full scale."""

    sensor_id: Name
    full_scale_mpa: PressureMpa
    station_no: Annotated[int, Meta(ge=0, le=10_000)] | None = None


class StationSupply(_Read, frozen=True, kw_only=True):
    """Which supply feeds a station, where it is not the rig's own."""

    station_no: Annotated[int, Meta(ge=0, le=10_000)]
    supply_id: Name


class RigSettings(_Read, frozen=True, kw_only=True):
    """What a rig's codes mean and what it is made of. The service never commands a rig."""

    stop_codes: dict[Name, StopClass] = {}
    time_zone: Name = "UTC"
    supplies: Annotated[list[StationSupply], Meta(max_length=1000)] = []
    sensors: Annotated[list[SensorSetting], Meta(max_length=1000)] = []


class Rig(Struct, frozen=True, kw_only=True):
    """A rig's settings as they stand."""

    rig_id: str
    settings: RigSettings
    recorded_at: datetime
    recorded_by: str


RigEventKind = Literal["STOPPED", "REMOVED", "REWORK", "NOTE"]
RemovalCause = Literal["SCHEDULED", "SYMPTOM"]


class UnitName(_Read, frozen=True, kw_only=True):
    """A unit by lot and serial."""

    lot_number: Name
    unit_serial: Name


class NewRigEvent(_Read, frozen=True, kw_only=True):
    """Something that happened at a rig. The same key with the same content adds nothing."""

    event_key: Key
    rig_id: Name
    occurred_at: Instant
    kind: RigEventKind
    station_no: Annotated[int, Meta(ge=0, le=10_000)] | None = None
    raw_code: Name | None = None
    unit: UnitName | None = None
    cause: RemovalCause | None = None
    note: Text | None = None


class CyclePoint(_Read, frozen=True, kw_only=True):
    """A place in the rows: the cycle of a run after which something was seen."""

    rig_id: Name
    run_id: Name
    cycle_in_run: CycleCount


class NewInspection(_Read, frozen=True, kw_only=True):
    """What a person saw at a unit, and after which cycle."""

    inspection_key: Key
    unit: UnitName
    inspected_at: Instant
    purpose: Literal["INCOMING", "SCHEDULED", "AFTER_STOP", "AT_TARGET", "END_OF_TEST"]
    after: CyclePoint | None = None
    leak_class: LeakClass | None = None
    function_check: Literal["PASS", "FAIL"] | None = None
    failure_mode: Name | None = None
    note: Text | None = None


class RigEvent(Struct, frozen=True, kw_only=True):
    """A recorded rig event."""

    event: NewRigEvent
    recorded_at: datetime
    recorded_by: str


class Inspection(Struct, frozen=True, kw_only=True):
    """A recorded inspection."""

    inspection: NewInspection
    recorded_at: datetime
    recorded_by: str
