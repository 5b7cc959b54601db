"""Recording a verdict: looking is free, deciding is signed and kept."""

from __future__ import annotations

import msgspec

from schemas.decisions import Decision, Evaluation, NewDecision
from service.errors import AlreadyExists, NotDecidable, StaleVersion
from service.storage import decisions, lots
from service.storage.decision_evidence import add_decision_evidence
from service.storage.facts import Stamp
from service.storage.identifiers import opaque_id
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows.clock import Clock, stamp_of
from service.workflows.decision_standing import as_they_stand
from service.workflows.evaluate_lot import evaluate
from service.workflows.evidence_packs import evidence_now
from service.workflows.reduce_lot import read_lot

_DECIDABLE = ("ACCEPT", "REJECT")


class Decisions:
    """What can be done with the recorded verdicts of lots."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock

    async def record(
        self, lot_id: str, body: NewDecision, actor: Actor, *, key_seen: str
    ) -> tuple[Decision, bool]:
        """
        Record the verdict that the caller read.

        Parameters
        ----------
        lot_id : str
        body : NewDecision
            What the signature means, and why it is given.
        actor : Actor
        key_seen : str, keyword only
            Evaluation key that the caller read; nobody signs a verdict on facts
            that have moved.

        Returns
        -------
        tuple of Decision and bool
            The second value is False for a repeat, which gives the first decision.

        Raises
        ------
        NotFound
            If there is no such lot.
        StaleVersion
            If the lot's facts, specification or method have changed since.
        NotDecidable
            If the verdict is neither ACCEPT nor REJECT.
        AlreadyExists
            If that evaluation was decided already with another meaning or reason.
        """
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[Decision, bool]:
            lot_key = lots.lot_key_of(db, lot_id)
            first = decisions.find_decision_on(db, lot_key, key_seen)
            if first is not None and _is_same(first[1], body):
                return as_they_stand(db, lot_id, [first])[0][1], False
            evaluation = evaluate(db, lot_id, keep=True)
            if evaluation.provenance.evaluation_key != key_seen:
                raise StaleVersion()
            if first is not None:
                raise AlreadyExists("decision", first[1].decision_id)
            _check_decidable(evaluation)
            made = _decision(evaluation, body, actor, stamp)
            decisions.add_decision(db, lot_key, made)
            evidence = evidence_now(db, read_lot(db, lot_id))
            add_decision_evidence(db, made.decision_id, evidence, stamp)
            return made, True

        return await self._store.write(change)

    async def find(self, decision_id: str) -> Decision:
        """
        One recorded verdict as it stands: outdated where facts have moved since.

        Raises
        ------
        NotFound
            If there is no such decision.
        """

        def question(db: Cursor) -> Decision:
            found = decisions.find_decision(db, decision_id)
            return as_they_stand(db, found[1].lot_id, [found])[0][1]

        return await self._store.read(question)

    async def of_lot(self, lot_id: str, *, after: int, limit: int) -> list[tuple[int, Decision]]:
        """
        Recorded verdicts of a lot, oldest first, with their place.

        Raises
        ------
        NotFound
            If there is no such lot.
        """

        def question(db: Cursor) -> list[tuple[int, Decision]]:
            lot_key = lots.lot_key_of(db, lot_id)
            found = decisions.list_decisions(db, lot_key, after=after, limit=limit)
            return as_they_stand(db, lot_id, found)

        return await self._store.read(question)


def _is_same(first: Decision, body: NewDecision) -> bool:
    return (first.meaning, first.reason) == (body.meaning, body.reason)


def _check_decidable(evaluation: Evaluation) -> None:
    if evaluation.verdict not in _DECIDABLE or evaluation.spec is msgspec.UNSET:
        raise NotDecidable(
            f"The lot stands at {evaluation.verdict}; only ACCEPT and REJECT can be recorded."
        )


def _decision(evaluation: Evaluation, body: NewDecision, actor: Actor, stamp: Stamp) -> Decision:
    assert evaluation.spec is not msgspec.UNSET  # a lot without a specification is held
    return Decision(
        decision_id=opaque_id("dec", evaluation.lot_id, evaluation.provenance.evaluation_key),
        lot_id=evaluation.lot_id,
        lot_number=evaluation.lot_number,
        verdict=evaluation.verdict,
        kind=evaluation.kind,
        reasons=evaluation.reasons,
        spec=evaluation.spec,
        evaluation_key=evaluation.provenance.evaluation_key,
        meaning=body.meaning,
        reason=body.reason,
        decided_at=stamp.at,
        decided_by=stamp.by,
        actor_kind=actor.kind,
        evaluation=evaluation,
        decision_outdated=False,
    )
