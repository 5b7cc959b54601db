"""Correcting serials and lots: a person signs whose rows they are; no row is rewritten."""

from __future__ import annotations

from schemas.corrections import Correction, CorrectionScope, LotChange, NewCorrection
from schemas.problems import ProblemError
from service.errors import AlreadyExists, Conflict, InvalidRequest, NotFound, PersonNeeded
from service.storage import corrections, lots
from service.storage.facts import Stamp
from service.storage.moved_records import move_records, recorded_serials
from service.storage.retakes import OpenOriginal, retake_lives, retake_places
from service.storage.store import Cursor, Store
from service.storage.touched import (
    WrittenRows,
    has_lives,
    lots_at,
    lots_numbered,
    places_of_units,
    units_at,
)
from service.storage.written_units import reaches_lives
from service.tokens import Actor
from service.workflows.change_effects import make_change
from service.workflows.clock import Clock, stamp_of
from service.workflows.kept_originals import originals_of


class Corrections:
    """What can be done about rows that were written under a wrong serial or lot."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock

    async def correct(self, body: NewCorrection, actor: Actor) -> tuple[Correction, bool]:
        """
        Record that rows written under one unit belong to another.

        Parameters
        ----------
        body : NewCorrection
        actor : Actor
            A person; a program may not sign.

        Returns
        -------
        tuple of Correction and bool
            What it did to each lot. The second value is False for a repeat.

        Raises
        ------
        PersonNeeded
            If the actor is a program.
        InvalidRequest
            If it contradicts itself.
        NotFound
            If it names a lot that nobody named yet.
        AlreadyExists
            If the key was used for another correction.
        Conflict
            NOTHING_TO_CORRECT if no row and no life was written so.
        """
        if actor.kind != "PERSON":
            raise PersonNeeded("a correction of serials or lots")
        _check(body)
        stamp = stamp_of(self._clock, actor)
        originals = originals_of(self._store)

        def change(db: Cursor) -> tuple[Correction, bool]:
            known = corrections.find_correction(db, body.correction_key)
            if known is not None:
                if (known.correction, known.recorded_by) != (body, stamp.by):
                    raise AlreadyExists("correction", body.correction_key)
                return known, False
            _correct(db, body, stamp, originals)
            return _found(db, body.correction_key), True

        return await self._store.write(change)

    async def find(self, correction_key: str) -> Correction:
        """
        One correction and what it changed.

        Raises
        ------
        NotFound
            If there is none under that key.
        """
        return await self._store.read(lambda db: _found(db, correction_key))

    async def all(
        self, lot_id: str | None, *, after: int, limit: int
    ) -> list[tuple[int, Correction]]:
        """
        Corrections that touched a lot (all of them without one), as recorded, with their place.

        Raises
        ------
        NotFound
            If there is no such lot.
        """

        def question(db: Cursor) -> list[tuple[int, Correction]]:
            lot_key = None if lot_id is None else lots.lot_key_of(db, lot_id)
            return corrections.list_corrections(db, lot_key, after=after, limit=limit)

        return await self._store.read(question)

    async def changes_of_lot(self, lot_id: str) -> list[LotChange]:
        """
        Withdrawals and corrections that touched a lot, with what each did to it.

        Raises
        ------
        NotFound
            If there is no such lot.
        """
        return await self._store.read(
            lambda db: corrections.told_changes(db, lots.lot_key_of(db, lot_id))
        )


def _found(db: Cursor, correction_key: str) -> Correction:
    found = corrections.find_correction(db, correction_key)
    if found is None:
        raise NotFound("correction", correction_key)
    return found


def _correct(db: Cursor, body: NewCorrection, stamp: Stamp, originals: OpenOriginal) -> None:
    for pointer, named in (("/written", body.written), ("/belongs_to", body.belongs_to)):
        if lots.lot_key_of_number(db, named.lot_number) is None:
            raise _unknown_lot(named.lot_number, pointer)
    change_id = corrections.correction_id(body.correction_key)
    written = _written_rows(db, body)
    places = places_of_units(db, written)
    lot_numbers = sorted({number for number, _ in written.units})
    with_lives = reaches_lives(body.scope) and has_lives(db, written.units)
    lives_of = lot_numbers if with_lives else []
    # Whoever speaks of all that is named so speaks of inspections and events too.
    recorded = recorded_serials(db, body) if body.scope == CorrectionScope() else []
    if not places and not lives_of and not recorded:
        raise Conflict(
            "NOTHING_TO_CORRECT",
            "No row, life or record was written under that unit in that scope; check "
            "the serial as the file has it, and the scope.",
        )
    of_records = {(body.written.lot_number, serial) for serial in recorded}
    units = _spoken_of(body, units_at(db, places) | of_records)
    lot_keys = lots_at(db, places) | lots_numbered(db, {*lot_numbers, *(lot for lot, _ in units)})

    def change() -> None:
        corrections.add_correction(db, body, stamp)
        move_records(db, body, recorded, change_id)
        retake_places(db, places, change_id, originals)
        retake_lives(db, lives_of, change_id, originals)

    make_change(db, change_id, lot_keys, units, change)


def _written_rows(db: Cursor, body: NewCorrection) -> WrittenRows:
    """Where rows may stand by now that were written so: earlier corrections have moved some."""
    lot_number, serial = body.written.lot_number, body.written.unit_serial
    units = {(lot_number, serial)}
    for each in corrections.corrections_about(db, [lot_number]):
        of_the_same = {serial, each.written.unit_serial, None}
        if len(of_the_same) <= 2:
            units.add((each.belongs_to.lot_number, each.belongs_to.unit_serial or serial))
    return WrittenRows(units=sorted(units, key=str), scope=body.scope)


def _spoken_of(body: NewCorrection, standing: set[tuple[str, str]]) -> set[tuple[str, str]]:
    """Units of which a correction takes rows or to which it gives some."""
    written, target = body.written, body.belongs_to
    if written.unit_serial is not None and target.unit_serial is not None:
        return {
            (written.lot_number, written.unit_serial),
            (target.lot_number, target.unit_serial),
        }
    pair = (written.lot_number, target.lot_number)
    return {(lot, serial) for lot in pair for number, serial in standing if number in pair}


def _unknown_lot(lot_number: str, pointer: str) -> NotFound:
    missing = NotFound("lot", lot_number)
    missing.errors = [
        ProblemError(code="LOT_NOT_FOUND", detail=missing.detail, pointer=f"{pointer}/lot_number")
    ]
    return missing


def _check(body: NewCorrection) -> None:
    scope = body.scope
    faults = []
    if (body.written.unit_serial is None) != (body.belongs_to.unit_serial is None):
        detail = (
            "State both serials, or neither where a whole lot was written under a wrong number."
        )
        faults.append(("CONTRADICTION", detail, "/belongs_to/unit_serial"))
    first, last = scope.first_cycle_in_run, scope.last_cycle_in_run
    if first is not None and last is not None and first > last:
        detail = "The first counter is higher than the last."
        faults.append(("CONTRADICTION", detail, "/scope/last_cycle_in_run"))
    since, before = scope.started_from, scope.started_before
    if since is not None and before is not None and since >= before:
        detail = "started_before must be later than started_from."
        faults.append(("CONTRADICTION", detail, "/scope/started_before"))
    if faults:
        raise InvalidRequest(
            [ProblemError(code=code, detail=said, pointer=at) for code, said, at in faults]
        )
