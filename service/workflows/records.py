"""What people and rigs report: rig settings, rig events, inspections."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from schemas.lots import (
    Inspection,
    NewInspection,
    NewRigEvent,
    Rig,
    RigEvent,
    RigSettings,
    UnitName,
)
from schemas.problems import ProblemError
from service.errors import AlreadyExists, InvalidRequest, NotFound
from service.storage import lots, records, units
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows.clock import Clock, stamp_of

_EARLIEST = datetime(1970, 1, 1, tzinfo=UTC)
_LATEST = datetime(2200, 1, 1, tzinfo=UTC)
"""Records and rows are taken within the same years."""


class LotNotNamedYet(NotFound):
    """A record names a unit of a lot that neither an upload nor a registration has named."""

    def __init__(self, lot_number: str) -> None:
        super().__init__("lot", lot_number)
        self.detail = (
            f"There is no lot {lot_number!r} yet; register it, then send the record again."
        )
        self.errors = [
            ProblemError(code="LOT_NOT_FOUND", detail=self.detail, pointer="/unit/lot_number")
        ]


class Records:
    """
    What can be recorded about rigs and units.

    Where a method gives a pair, the second value says whether anything was
    added: the same key with the same content adds nothing.
    """

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock

    async def set_rig(self, rig_id: str, settings: RigSettings, actor: Actor) -> tuple[Rig, bool]:
        """
        State a rig's settings; the second value says whether these are its first.

        Raises
        ------
        InvalidRequest
            If a station or a sensor is named twice.
        """
        _check_rig(settings)
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[Rig, bool]:
            current = records.find_rig(db, rig_id)
            if current is not None and current.settings == settings:
                return current, False
            return records.set_rig(db, rig_id, settings, stamp), current is None

        return await self._store.write(change)

    async def rig(self, rig_id: str) -> Rig:
        """
        A rig's settings as they stand.

        Raises
        ------
        NotFound
            If nobody stated any.
        """
        found = await self._store.read(lambda db: records.find_rig(db, rig_id))
        if found is None:
            raise NotFound("rig", rig_id)
        return found

    async def rigs(self, *, after: str, limit: int) -> list[Rig]:
        """Rigs whose settings were stated, by id."""
        return await self._store.read(lambda db: records.list_rigs(db, after=after, limit=limit))

    async def add_rig_event(self, event: NewRigEvent, actor: Actor) -> tuple[RigEvent, bool]:
        """
        Record something that happened at a rig.

        Raises
        ------
        InvalidRequest
            If a removal does not say which unit and why.
        NotFound
            If it names a unit of a lot that does not exist yet.
        AlreadyExists
            If the rig has used the key for something else.
        """
        _check_event(event)
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[RigEvent, bool]:
            found = records.find_rig_event(db, event.rig_id, event.event_key)
            if found is not None:
                if found.event != event:
                    raise AlreadyExists("rig event", event.event_key)
                return found, False
            unit_key = None if event.unit is None else keys_of(db, event.unit)[1]
            return records.add_rig_event(db, event, unit_key, stamp), True

        return await self._store.write(change)

    async def rig_events(
        self, rig_id: str | None, *, after: int, limit: int
    ) -> list[tuple[int, RigEvent]]:
        """Events of a rig (of all rigs without one), as recorded, with their place."""
        return await self._store.read(
            lambda db: records.list_rig_events(db, rig_id, after=after, limit=limit)
        )

    async def add_inspection(
        self, inspection: NewInspection, actor: Actor
    ) -> tuple[Inspection, bool]:
        """
        Record what a person saw at a unit; a unit nobody named yet becomes known.

        Raises
        ------
        InvalidRequest
            If it says nothing about the unit.
        NotFound
            If it names a unit of a lot that does not exist yet.
        AlreadyExists
            If the key was used for another inspection.
        """
        _check_inspection(inspection)
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[Inspection, bool]:
            found = records.find_inspection(db, inspection.inspection_key)
            if found is not None:
                if found.inspection != inspection:
                    raise AlreadyExists("inspection", inspection.inspection_key)
                return found, False
            _, unit_key = keys_of(db, inspection.unit)
            return records.add_inspection(db, inspection, unit_key, stamp), True

        return await self._store.write(change)

    async def inspections(
        self, lot_id: str | None, *, after: int, limit: int
    ) -> list[tuple[int, Inspection]]:
        """Inspections of a lot's units (all without a lot), as recorded, with their place."""
        return await self._store.read(
            lambda db: records.list_inspections(db, lot_id, after=after, limit=limit)
        )


def keys_of(db: Cursor, name: UnitName) -> tuple[int, int]:
    """
    Keys of the lot and of the unit that a record names; a unit nobody named yet becomes known.

    Raises
    ------
    LotNotNamedYet
        If neither an upload nor a registration has named the lot.
    """
    lot_key = lots.lot_key_of_number(db, name.lot_number)
    if lot_key is None:
        raise LotNotNamedYet(name.lot_number)
    return lot_key, units.ensure_units(db, lot_key, [name.unit_serial])[name.unit_serial]


def _check_rig(settings: RigSettings) -> None:
    stations = [supply.station_no for supply in settings.supplies]
    sensors = [(sensor.sensor_id, sensor.station_no) for sensor in settings.sensors]
    faults = [
        ProblemError(code="REPEATED", detail=f"{what} is named twice.", pointer=pointer)
        for what, pointer, named in (
            ("A station", "/supplies", stations),
            ("A sensor", "/sensors", sensors),
        )
        if len(set(named)) < len(named)
    ]
    faults += _check_zone(settings.time_zone)
    faults += [
        ProblemError(
            code="OUTSIDE_RANGE",
            detail="A full scale must be above 0 MPa.",
            pointer=f"/sensors/{place}/full_scale_mpa",
        )
        for place, sensor in enumerate(settings.sensors)
        if sensor.full_scale_mpa <= 0
    ]
    if faults:
        raise InvalidRequest(faults)


def _check_zone(name: str) -> list[ProblemError]:
    """A zone of the IANA list; UTC needs no list."""
    try:
        known = name == "UTC" or ZoneInfo(name) is not None
    except (ZoneInfoNotFoundError, ValueError, OSError):
        known = False
    if known:
        return []
    detail = f"{name!r} is no time zone of the IANA list, such as UTC or Europe/Lisbon."
    return [ProblemError(code="UNKNOWN_TIME_ZONE", detail=detail, pointer="/time_zone")]


def check_instant(instant: datetime, pointer: str) -> list[ProblemError]:
    """Fault of an instant that no rig can have seen: it is mistyped."""
    if _EARLIEST <= instant <= _LATEST:
        return []
    detail = f"It must lie between {_EARLIEST:%Y} and {_LATEST:%Y}; check year and zone."
    return [ProblemError(code="INSTANT_OUT_OF_RANGE", detail=detail, pointer=pointer)]


def _check_event(event: NewRigEvent) -> None:
    faults = check_instant(event.occurred_at, "/occurred_at")
    if event.kind == "REMOVED":
        faults += [
            ProblemError(
                code="MISSING_FIELD", detail=f"A removal must state its {name}.", pointer=""
            )
            for name in ("unit", "cause")
            if getattr(event, name) is None
        ]
    elif event.cause is not None:
        detail = "Only an event of kind REMOVED has a cause."
        faults.append(ProblemError(code="CONTRADICTION", detail=detail, pointer="/cause"))
    if faults:
        raise InvalidRequest(faults)


def _check_inspection(inspection: NewInspection) -> None:
    faults = check_instant(inspection.inspected_at, "/inspected_at")
    seen = (inspection.leak_class, inspection.function_check, inspection.failure_mode)
    if all(each is None for each in seen):
        detail = "State at least one of leak_class, function_check and failure_mode."
        faults.append(ProblemError(code="NOTHING_SEEN", detail=detail, pointer=""))
    if faults:
        raise InvalidRequest(faults)
