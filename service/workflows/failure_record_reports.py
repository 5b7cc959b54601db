"""A failure record with its lot as it stands: what its signer sees, and what signing does."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import UNSET, Struct, structs

from analysis.reduction.failure_analysis import person
from schemas.attachments import Attachment
from schemas.decisions import Evaluation
from schemas.dispositions import MayDecide, VerdictStanding
from schemas.failure_records import (
    SIGNATURES_NEEDED,
    FailureRecord,
    FailureRecordReport,
    FailureRecordState,
    NewRecordSignature,
    RecordSignature,
)
from schemas.lives import UnitLife
from schemas.unit_evidence import SignedFor
from service.storage import attachments, failure_records
from service.storage.facts import Stamp
from service.storage.failure_records import StoredFailureRecord
from service.storage.identifiers import opaque_id
from service.storage.store import Cursor
from service.workflows.evaluate_lot import evaluate_reading
from service.workflows.reduce_lot import LotReading, lives_of, read_lot, with_facts


class Standing(Struct, frozen=True, kw_only=True):
    """A record with its lot, its unit and the evaluation as they stand."""

    stored: StoredFailureRecord
    reading: LotReading
    life: UnitLife
    evaluation: Evaluation
    is_newest: bool

    @property
    def record_id(self) -> str:
        return self.stored.record.record_id

    @property
    def state(self) -> FailureRecordState:
        if not self.is_newest:
            return "SUPERSEDED"
        if self.life.failure is UNSET:
            return "NO_FAILURE_SEEN"
        pending = self.life.failure.pending_record_id == self.record_id
        return "AWAITS_SIGNATURES" if pending else "IN_EFFECT"

    @property
    def signers(self) -> set[str]:
        """Persons whose signature is for the failure as it is now."""
        failure = self.life.failure
        if failure is UNSET or not self.is_newest:
            return set()
        return {
            person(each.signed_by)
            for each in self.stored.signatures
            if each.failure_id == failure.failure_id
        }


def standings_of(db: Cursor, lot_id: str, *, keep: bool) -> list[Standing]:
    """
    Every failure record of a lot, oldest first, with the lot as it stands.

    Raises
    ------
    NotFound
        If there is no such lot.
    """
    reading = read_lot(db, lot_id)
    records = reading.facts.failure_records
    if not records:
        return []
    evaluation = evaluate_reading(db, reading, keep=keep)
    lives = {life.unit_id: life for life in lives_of(db, reading, keep=keep)}
    newest = {each.unit_key: each.record.record_id for each in records}
    return [
        Standing(
            stored=each,
            reading=reading,
            life=lives[each.record.unit_id],
            evaluation=evaluation,
            is_newest=newest[each.unit_key] == each.record.record_id,
        )
        for each in records
    ]


def standing_of(db: Cursor, record_id: str, *, keep: bool) -> Standing:
    """
    One failure record with its lot as it stands.

    Raises
    ------
    NotFound
        If there is no such record.
    """
    lot_id = failure_records.find_failure_record(db, record_id).record.lot_id
    found = standings_of(db, lot_id, keep=keep)
    return next(each for each in found if each.record_id == record_id)


def earlier_signature(db: Cursor, standing: Standing, stamp: Stamp) -> RecordSignature | None:
    """The signature that this person gave for the failure as it is now, if any."""
    failure = standing.life.failure
    for each in failure_records.signatures_under(db, standing.record_id):
        same_failure = failure is not UNSET and each.failure.failure_id == failure.failure_id
        if same_failure and person(each.signed_by) == person(stamp.by):
            return each
    return None


def signature_of(
    db: Cursor, standing: Standing, body: NewRecordSignature, stamp: Stamp
) -> tuple[RecordSignature, str]:
    """The signature with the verdict before and after, and the failure that it is for."""
    failure = standing.life.failure
    assert failure is not UNSET  # a record that awaits signatures speaks of a failure
    failure_id = str(failure.failure_id)
    after = evaluate_reading(db, _as_if_signed(standing, [stamp.by]), keep=True)
    earlier = failure_records.signatures_under(db, standing.record_id)
    made = RecordSignature(
        signature_id=opaque_id("sig", standing.record_id, str(len(earlier) + 1)),
        record_id=standing.record_id,
        failure=failure,
        meaning=body.meaning,
        reason=body.reason,
        before=_verdict(standing.evaluation),
        after=_verdict(after),
        signed_at=stamp.at,
        signed_by=stamp.by,
        actor_kind="PERSON",
        in_effect=True,
    )
    return made, failure_id


def _as_if_signed(standing: Standing, names: Sequence[str]) -> LotReading:
    """The lot as it would be read with these signatures too, for the failure as it is."""
    failure, facts = standing.life.failure, standing.reading.facts
    assert failure is not UNSET
    more = [SignedFor(failure_id=str(failure.failure_id), signed_by=name) for name in names]
    records = [
        structs.replace(each, signatures=[*each.signatures, *more])
        if each.record.record_id == standing.record_id
        else each
        for each in facts.failure_records
    ]
    return with_facts(standing.reading, structs.replace(facts, failure_records=records))


def _verdict(evaluation: Evaluation) -> VerdictStanding:
    return VerdictStanding(
        verdict=evaluation.verdict,
        kind=evaluation.kind,
        open_hold_count=evaluation.evidence.open_hold_count,
        evaluation_key=evaluation.provenance.evaluation_key,
    )


def as_of_now(signature: RecordSignature, standing: Standing) -> RecordSignature:
    """The signature as it was given, with whether it is for the record and failure of now."""
    failure = standing.life.failure
    same = failure is not UNSET and signature.failure.failure_id == failure.failure_id
    return structs.replace(signature, in_effect=standing.is_newest and same)


def report_of(db: Cursor, standing: Standing) -> FailureRecordReport:
    record, life, evaluation = standing.stored.record, standing.life, standing.evaluation
    awaits = standing.state == "AWAITS_SIGNATURES"
    lowers = awaits or (
        standing.state == "IN_EFFECT" and life.failure is not UNSET and life.failure.counts_less
    )
    stored = attachments.find_attachments(db, record.record.attachments)
    return FailureRecordReport(
        record=record,
        lot_number=life.lot_number,
        unit_serial=life.unit_serial,
        state=standing.state,
        may_sign=MayDecide(),
        signatures_needed=SIGNATURES_NEEDED if lowers else 0,
        signatures_missing=SIGNATURES_NEEDED - len(standing.signers) if awaits else 0,
        signatures=[
            as_of_now(each, standing)
            for each in failure_records.signatures_under(db, record.record_id)
        ],
        attachments=_in_order(record, stored),
        verdict=evaluation.verdict,
        kind=evaluation.kind,
        evaluation_key=evaluation.provenance.evaluation_key,
        failure=life.failure,
        if_signed=_if_signed(db, standing) if awaits else UNSET,
    )


def _in_order(record: FailureRecord, stored: dict[str, Attachment]) -> list[Attachment]:
    return [stored[digest] for digest in record.record.attachments]


def _if_signed(db: Cursor, standing: Standing) -> VerdictStanding:
    """The lot's verdict once the signatures that are missing are given, by whomever."""
    nobody = [f"\0{number}" for number in range(SIGNATURES_NEEDED - len(standing.signers))]
    return _verdict(evaluate_reading(db, _as_if_signed(standing, nobody), keep=False))
