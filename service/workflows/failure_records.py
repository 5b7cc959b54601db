"""Failure records: recorded by key, read with what they do, signed by two persons."""

from __future__ import annotations

from collections.abc import Sequence

from schemas.failure_records import (
    FailureRecord,
    FailureRecordReport,
    NewFailureRecord,
    NewRecordSignature,
    RecordSignature,
)
from schemas.problems import ProblemError
from service.errors import AlreadyExists, Conflict, InvalidRequest, PersonNeeded, StaleVersion
from service.storage import attachments, failure_records, units
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows.clock import Clock, stamp_of
from service.workflows.failure_record_reports import (
    Standing,
    as_of_now,
    earlier_signature,
    report_of,
    signature_of,
    standing_of,
    standings_of,
)
from service.workflows.records import check_instant, keys_of


class FailureRecords:
    """What can be done with failure records."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock

    async def add(self, body: NewFailureRecord, actor: Actor) -> tuple[FailureRecord, bool]:
        """
        Record what an examination found; it supersedes earlier records of the same unit.

        Returns
        -------
        tuple of FailureRecord and bool
            The second value is False where the same was recorded before.

        Raises
        ------
        InvalidRequest
            If an attachment is not stored, custody runs backwards, or an instant or a
            clean point cannot be meant.
        NotFound
            If the unit's lot does not exist yet.
        AlreadyExists
            If the key was used for another record.
        """
        _check(body)
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[FailureRecord, bool]:
            found = failure_records.find_by_key(db, body.record_key)
            if found is not None:
                if found.record != body:
                    raise AlreadyExists("failure record", body.record_key)
                return found, False
            _check_attached(db, body.attachments)
            _, unit_key = keys_of(db, body.unit)
            return failure_records.add_failure_record(db, body, unit_key, stamp), True

        return await self._store.write(change)

    async def all(
        self, lot_id: str | None, *, after: int, limit: int
    ) -> list[tuple[int, FailureRecord]]:
        """Records of a lot's units (all without a lot), as recorded, with their place."""
        return await self._store.read(
            lambda db: failure_records.list_failure_records(db, lot_id, after=after, limit=limit)
        )

    async def report(self, record_id: str) -> FailureRecordReport:
        """
        A record with what its signer must see: the failure, the verdict now and once signed.

        Raises
        ------
        NotFound
            If there is no such record.
        """
        return await self._store.read(
            lambda db: report_of(db, standing_of(db, record_id, keep=False))
        )

    async def of_lot(self, lot_id: str) -> list[FailureRecordReport]:
        """
        The newest record of each unit of a lot that has one, by serial.

        Raises
        ------
        NotFound
            If there is no such lot.
        """

        def question(db: Cursor) -> list[FailureRecordReport]:
            found = standings_of(db, lot_id, keep=False)
            reports = [report_of(db, each) for each in found if each.is_newest]
            return sorted(reports, key=lambda report: report.unit_serial)

        return await self._store.read(question)

    async def of_unit(self, unit_id: str) -> list[FailureRecordReport]:
        """
        Every record of a unit, newest first.

        Raises
        ------
        NotFound
            If there is no such unit.
        """

        def question(db: Cursor) -> list[FailureRecordReport]:
            lot_id = units.find_unit(db, unit_id).unit.lot_id
            found = standings_of(db, lot_id, keep=False)
            of_unit = [each for each in found if each.life.unit_id == unit_id]
            return [report_of(db, each) for each in reversed(of_unit)]

        return await self._store.read(question)

    async def sign(
        self, record_id: str, body: NewRecordSignature, actor: Actor, *, key_seen: str
    ) -> tuple[RecordSignature, bool]:
        """
        Record a person's signature under a record, for the failure as the person saw it.

        Parameters
        ----------
        record_id : str
        body : NewRecordSignature
            What the signature means, and why it is given.
        actor : Actor
            A person; a program may not sign.
        key_seen : str, keyword only
            Evaluation key of the lot that the caller read.

        Returns
        -------
        tuple of RecordSignature and bool
            The second value is False for a repeat by the same person.

        Raises
        ------
        PersonNeeded
            If the actor is a program.
        NotFound
            If there is no such record.
        StaleVersion
            If the lot's facts, specification or method have changed since.
        Conflict
            If the record needs no signature, or this person has signed it already.
        """
        if actor.kind != "PERSON":
            raise PersonNeeded("a failure record")
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[RecordSignature, bool]:
            standing = standing_of(db, record_id, keep=True)
            earlier = earlier_signature(db, standing, stamp)
            if earlier is not None and _is_same(earlier, body):
                return as_of_now(earlier, standing), False
            if standing.evaluation.provenance.evaluation_key != key_seen:
                raise StaleVersion()
            _check_may_be_signed(standing, earlier)
            made, failure_id = signature_of(db, standing, body, stamp)
            failure_records.add_signature(db, made, failure_id)
            return made, True

        return await self._store.write(change)


def _check(body: NewFailureRecord) -> None:
    faults = check_instant(body.examined_at, "/examined_at")
    for number, entry in enumerate(body.custody):
        faults += check_instant(entry.from_at, f"/custody/{number}/from_at")
    starts = [entry.from_at for entry in body.custody]
    if starts != sorted(starts):
        detail = "Custody is told in its order: each entry begins no earlier than the one before."
        faults.append(ProblemError(code="CUSTODY_OUT_OF_ORDER", detail=detail, pointer="/custody"))
    if len(set(body.attachments)) < len(body.attachments):
        detail = "An attachment is named twice."
        faults.append(ProblemError(code="REPEATED", detail=detail, pointer="/attachments"))
    hidden = body.hidden_before
    if hidden and hidden.clean_after is not None and hidden.clean_at_cycles is not None:
        detail = "State clean_after or clean_at_cycles, not both."
        faults.append(ProblemError(code="CONTRADICTION", detail=detail, pointer="/hidden_before"))
    if faults:
        raise InvalidRequest(faults)


def _check_attached(db: Cursor, digests: Sequence[str]) -> None:
    known = attachments.find_attachments(db, digests)
    faults = [
        ProblemError(
            code="ATTACHMENT_NOT_STORED",
            detail=f"No attachment with the SHA-256 {digest} is stored; post its bytes to "
            "/v1/attachments first.",
            pointer=f"/attachments/{number}",
        )
        for number, digest in enumerate(digests)
        if digest not in known
    ]
    if faults:
        raise InvalidRequest(faults)


def _is_same(earlier: RecordSignature, body: NewRecordSignature) -> bool:
    return (earlier.meaning, earlier.reason) == (body.meaning, body.reason)


def _check_may_be_signed(standing: Standing, earlier: RecordSignature | None) -> None:
    if earlier is not None:
        raise Conflict(
            "ALREADY_SIGNED",
            f"{earlier.signed_by} has signed this record; the second signature is another "
            "person's.",
        )
    if standing.state != "AWAITS_SIGNATURES":
        raise Conflict("SIGNATURE_NOT_NEEDED", _WHY_NOT[standing.state])


_WHY_NOT: dict[str, str] = {
    "IN_EFFECT": "The record is in effect; it asks for no further signature.",
    "SUPERSEDED": "A later failure record of the unit supersedes this one; sign that.",
    "NO_FAILURE_SEEN": "The unit shows no failure, so there is none to sign for.",
}
