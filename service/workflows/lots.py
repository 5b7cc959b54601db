"""Lots: registered, given a sample, given a specification, looked up."""

from __future__ import annotations

from collections import Counter

from schemas.lots import (
    Assignment,
    Lot,
    NewAssignment,
    NewLot,
    NewUnit,
    NewUnits,
    Unit,
)
from schemas.problems import ProblemError
from schemas.specs import Spec
from service.errors import AlreadyExists, Conflict, InvalidRequest
from service.storage import lots, specs, units
from service.storage.lots import LotFilter
from service.storage.store import Cursor, Store
from service.storage.units import StoredUnit
from service.tokens import Actor
from service.workflows.clock import Clock, stamp_of
from service.workflows.keep_current import keep_current

__all__ = ["LotFilter", "Lots"]


class Lots:
    """
    What can be done with lots and their units.

    Where a method gives a pair, the second value says whether anything was
    added: a repeat of what is stored already adds nothing.
    """

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock

    async def register(self, body: NewLot, actor: Actor) -> tuple[Lot, bool]:
        """
        Register a lot; one that uploads have named already keeps its id.

        Raises
        ------
        AlreadyExists
            If it is registered already with other content.
        """
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[Lot, bool]:
            lot_key = lots.lot_key_of_number(db, body.lot_number)
            if lot_key is None:
                lot_key = lots.add_lot(db, body.lot_number, stamp.at)
            registered = lots.find_registration(db, lot_key)
            if registered is not None and registered != body:
                raise AlreadyExists("lot", body.lot_number)
            if registered is None:
                lots.register_lot(db, lot_key, body, stamp)
            return lots.find_lot(db, lot_key), registered is None

        return await self._store.write(change)

    async def find(self, lot_id: str) -> Lot:
        """
        One lot as it stands.

        Raises
        ------
        NotFound
            If there is no such lot; so in every method that takes a `lot_id`.
        """
        return await self._store.read(lambda db: lots.find_lot(db, lots.lot_key_of(db, lot_id)))

    async def matching(self, chosen: LotFilter, *, after: int, limit: int) -> list[tuple[int, Lot]]:
        """Lots in the order in which they were first named, with their place in it."""
        return await self._store.read(
            lambda db: lots.list_lots(db, chosen, after=after, limit=limit)
        )

    async def add_to_sample(
        self, lot_id: str, body: NewUnits, actor: Actor
    ) -> tuple[list[Unit], bool]:
        """
        List units as the lot's sample; those listed already stay as they are.

        Raises
        ------
        InvalidRequest
            If a serial stands twice in the body.
        AlreadyExists
            If a unit is listed already with another component batch.
        """
        _check_serials(body.units)
        stamp = stamp_of(self._clock, actor)
        serials = [unit.unit_serial for unit in body.units]

        def change(db: Cursor) -> tuple[list[Unit], bool]:
            lot_key = lots.lot_key_of(db, lot_id)
            known = units.find_named_units(db, lot_key, serials)
            new = [unit for unit in body.units if not _is_listed(unit, known)]
            units.add_to_sample(db, lot_key, new, stamp)
            found = units.find_named_units(db, lot_key, serials)
            return [found[serial].unit for serial in serials], bool(new)

        return await self._store.write(change)

    async def units(self, lot_id: str, *, after: int, limit: int) -> list[tuple[int, Unit]]:
        """Units of a lot in the order in which they were first named, with their place."""

        def question(db: Cursor) -> list[StoredUnit]:
            return units.list_units(db, lots.lot_key_of(db, lot_id), after=after, limit=limit)

        return [(each.unit_key, each.unit) for each in await self._store.read(question)]

    async def assign(
        self, lot_id: str, body: NewAssignment, actor: Actor
    ) -> tuple[Assignment, bool]:
        """
        Make an approved version of a specification the lot's current one.

        The lives under it are reduced before the answer, so that the next look
        reads lives and not rows.

        Raises
        ------
        NotFound
            If there is no such version.
        Conflict
            If that version is not the approved one.
        """
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[int, Assignment, bool]:
            lot_key = lots.lot_key_of(db, lot_id)
            version = specs.find_version(db, body.spec_id, body.version)
            current = lots.find_assignment(db, lot_key)
            if current is not None and _is_same(current, body):
                return lot_key, current, False
            if version.state != "APPROVED":
                raise Conflict(
                    "SPEC_NOT_APPROVED",
                    f"Version {body.version} of spec {body.spec_id!r} is {version.state}; "
                    "only the approved version can be assigned.",
                )
            _check_part(lots.find_registration(db, lot_key), version.spec)
            return lot_key, lots.add_assignment(db, lot_key, body, version.hash, stamp), True

        lot_key, assignment, is_new = await self._store.write(change)
        if is_new:
            await keep_current(self._store, [lot_key])
        return assignment, is_new

    async def assignments(
        self, lot_id: str, *, after: int, limit: int
    ) -> list[tuple[int, Assignment]]:
        """Assignments of a lot, oldest first, with their place; the last one is current."""

        def question(db: Cursor) -> list[tuple[int, Assignment]]:
            lot_key = lots.lot_key_of(db, lot_id)
            return lots.list_assignments(db, lot_key, after=after, limit=limit)

        return await self._store.read(question)


def _check_serials(given: list[NewUnit]) -> None:
    counts = Counter(unit.unit_serial for unit in given)
    repeated = [
        ProblemError(
            code="REPEATED_SERIAL",
            detail=f"The serial {unit.unit_serial!r} stands {counts[unit.unit_serial]} times.",
            pointer=f"/units/{index}/unit_serial",
        )
        for index, unit in enumerate(given)
        if counts[unit.unit_serial] > 1
    ]
    if repeated:
        raise InvalidRequest(repeated)


def _is_listed(unit: NewUnit, known: dict[str, StoredUnit]) -> bool:
    """Whether a unit is listed with this very batch; listed with another one is a clash."""
    stored = known.get(unit.unit_serial)
    if stored is None or not stored.unit.listed:
        return False
    if (stored.unit.component_batch or None) != unit.component_batch:
        raise AlreadyExists("unit", unit.unit_serial)
    return True


def _is_same(current: Assignment, body: NewAssignment) -> bool:
    given = (body.spec_id, body.version, body.reason)
    return (current.spec_id, current.version, current.reason) == given


def _check_part(registration: NewLot | None, spec: Spec) -> None:
    """A specification speaks of one part; a lot that nobody registered has none yet."""
    if registration is not None and registration.part_number != spec.part_number:
        raise Conflict(
            "OTHER_PART",
            f"The lot is of part {registration.part_number!r}, the spec {spec.spec_id!r} of part "
            f"{spec.part_number!r}; assign a spec of the lot's part.",
        )
