"""Deciding a hold: a person signs which of its two alternatives holds."""

from __future__ import annotations

import re
from typing import get_args

from msgspec import UNSET, Struct, structs

from analysis.reduction.lives import reduce_unit
from schemas.decisions import Evaluation
from schemas.dispositions import (
    Disposition,
    HoldCombinations,
    HoldOption,
    HoldReport,
    HoldState,
    MayDecide,
    NewDisposition,
    VerdictStanding,
)
from schemas.holds import Alternative, Hold, HoldAnswer, HoldChoice, HoldCode
from schemas.lots import Unit
from service.errors import Conflict, NotFound, PersonNeeded, StaleVersion
from service.storage import dispositions, units
from service.storage.facts import Stamp
from service.storage.identifiers import opaque_id
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows.clock import Clock, stamp_of
from service.workflows.evaluate_lot import evaluate_reading, evaluation_of
from service.workflows.hold_combinations import combinations_of, trial_answer
from service.workflows.reduce_lot import LotReading, evidence_of, lives_of, read_lot, with_answer

_LETTERS = re.compile("[a-z2-7]{12}")
_CHOICES: tuple[HoldChoice, ...] = get_args(HoldChoice)
_MOST_SIGNED = 10_000


class _Asked(Struct, frozen=True, kw_only=True):
    """A hold's lot as it stands, and the hold if it is open or decided."""

    hold_id: str
    unit: Unit
    reading: LotReading
    evaluation: Evaluation
    hold: Hold | None


class Holds:
    """What can be done with the holds of lots."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock

    async def report(self, hold_id: str) -> HoldReport:
        """
        A hold with what its signer must see: evidence, options, the verdict under each.

        Raises
        ------
        NotFound
            If no unit has such a hold, and none was ever decided under that name.
        """

        def question(db: Cursor) -> HoldReport:
            asked = _ask(db, hold_id, keep=False)
            signed = _signed(db, asked, after=0, limit=_MOST_SIGNED)
            history = [each for _, each in signed]
            if asked.hold is not None:
                return _report(asked, asked.hold, history, _options(db, asked, asked.hold))
            if history:
                return _report(asked, history[-1].hold, history, [])
            raise NotFound("hold", hold_id)

        return await self._store.read(question)

    async def dispositions(
        self, hold_id: str, *, after: int, limit: int
    ) -> list[tuple[int, Disposition]]:
        """
        Signed answers to a hold, oldest first, with their place.

        Raises
        ------
        NotFound
            If no unit has such a hold, and none was ever decided under that name.
        """

        def question(db: Cursor) -> list[tuple[int, Disposition]]:
            asked = _ask(db, hold_id, keep=False)
            found = _signed(db, asked, after=after, limit=limit)
            if asked.hold is None and dispositions.newest_disposition(db, hold_id) is None:
                raise NotFound("hold", hold_id)
            return found

        return await self._store.read(question)

    async def combinations(self, lot_id: str) -> HoldCombinations:
        """
        Verdict on a lot under every way of deciding its open holds, where they are few.

        Raises
        ------
        NotFound
            If there is no such lot.
        """
        return await self._store.read(lambda db: combinations_of(db, lot_id))

    async def dispose(
        self, hold_id: str, body: NewDisposition, actor: Actor, *, key_seen: str
    ) -> tuple[Disposition, bool]:
        """
        Record which alternative of a hold a person signs for.

        Parameters
        ----------
        hold_id : str
        body : NewDisposition
            The alternative, what the signature means, and why it is given.
        actor : Actor
            A person; a program may not sign.
        key_seen : str, keyword only
            Evaluation key of the lot that the caller read; nobody signs on facts that
            have moved.

        Returns
        -------
        tuple of Disposition and bool
            The second value is False for a repeat of the newest one by the same person,
            which gives that one.

        Raises
        ------
        PersonNeeded
            If the actor is a program.
        NotFound
            If there is no such hold.
        StaleVersion
            If the lot's facts, specification or method have changed since.
        Conflict
            If the hold is closed: rows or records have changed what is behind it.
        """
        if actor.kind != "PERSON":
            raise PersonNeeded("the disposition of a hold")
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[Disposition, bool]:
            asked = _ask(db, hold_id, keep=True)
            newest = dispositions.newest_disposition(db, hold_id)
            if newest is not None and _is_same(newest, body, stamp):
                return _as_of_now(newest, asked, is_newest=True), False
            if asked.evaluation.provenance.evaluation_key != key_seen:
                raise StaleVersion()
            if asked.hold is None:
                raise _closed(asked)
            made = _disposition(db, asked, asked.hold, body, stamp)
            dispositions.add_disposition(db, asked.reading.facts.lot_key, made)
            return made, True

        return await self._store.write(change)


def _ask(db: Cursor, hold_id: str, *, keep: bool) -> _Asked:
    """The lot that a hold belongs to, read and evaluated; the name of a hold begins with a unit."""
    unit = _unit_of(db, hold_id)
    reading = read_lot(db, unit.lot_id)
    evaluation = evaluate_reading(db, reading, keep=keep)
    found = [h for h in (*evaluation.holds, *evaluation.decided_holds) if h.hold_id == hold_id]
    return _Asked(
        hold_id=hold_id,
        unit=unit,
        reading=reading,
        evaluation=evaluation,
        hold=found[0] if found else None,
    )


def _unit_of(db: Cursor, hold_id: str) -> Unit:
    unit_id, _, rest = hold_id.partition(".")
    name, _, letters = rest.partition(".")
    if name not in get_args(HoldCode) or not _LETTERS.fullmatch(letters):
        raise NotFound("hold", hold_id)
    try:
        return units.find_unit(db, unit_id).unit
    except NotFound as missing:
        raise NotFound("hold", hold_id) from missing


def _signed(db: Cursor, asked: _Asked, *, after: int, limit: int) -> list[tuple[int, Disposition]]:
    newest = dispositions.newest_disposition(db, asked.hold_id)
    if newest is None:
        return []
    found = dispositions.list_dispositions(db, asked.hold_id, after=after, limit=limit)
    return [
        (
            place,
            _as_of_now(each, asked, is_newest=each.disposition_id == newest.disposition_id),
        )
        for place, each in found
    ]


def _is_same(newest: Disposition, body: NewDisposition, stamp: Stamp) -> bool:
    said = (newest.choice, newest.meaning, newest.reason, newest.signed_by)
    return said == (body.choice, body.meaning, body.reason, stamp.by)


def _as_of_now(disposition: Disposition, asked: _Asked, *, is_newest: bool) -> Disposition:
    """The disposition as it was signed, with whether the evaluation rests on it now."""
    rests = is_newest and _state(asked.hold) == "DECIDED"
    return structs.replace(disposition, in_effect=rests)


def _closed(asked: _Asked) -> Conflict:
    """Why a hold is no longer asked about, for whoever would sign it."""
    evaluation, kind = asked.evaluation, asked.hold_id.rpartition(".")[0] + "."
    present = (*evaluation.holds, *evaluation.decided_holds)
    successors = [hold.hold_id for hold in present if hold.hold_id.startswith(kind)]
    if successors:
        detail = (
            "Rows or records behind this hold have changed. What is asked about the unit now: "
            f"{', '.join(successors)}."
        )
    else:
        detail = (
            "Nothing is open here any more: rows, records or another disposition have answered "
            "the question."
        )
    return Conflict("HOLD_NOT_OPEN", detail)


def _disposition(
    db: Cursor, asked: _Asked, hold: Hold, body: NewDisposition, stamp: Stamp
) -> Disposition:
    answer = HoldAnswer(
        choice=body.choice,
        meaning=body.meaning,
        reason=body.reason,
        signed_at=stamp.at,
        signed_by=stamp.by,
    )
    after = evaluate_reading(db, with_answer(asked.reading, asked.hold_id, answer), keep=True)
    earlier = dispositions.list_dispositions(db, asked.hold_id, after=0, limit=_MOST_SIGNED)
    return Disposition(
        disposition_id=opaque_id("dis", asked.hold_id, str(len(earlier) + 1)),
        hold_id=asked.hold_id,
        lot_id=asked.unit.lot_id,
        choice=body.choice,
        meaning=body.meaning,
        reason=body.reason,
        chosen=_alternative(hold, body.choice),
        hold=hold,
        before=_standing(asked.evaluation),
        after=_standing(after),
        signed_at=stamp.at,
        signed_by=stamp.by,
        actor_kind="PERSON",
        in_effect=True,
    )


def _standing(evaluation: Evaluation) -> VerdictStanding:
    return VerdictStanding(
        verdict=evaluation.verdict,
        kind=evaluation.kind,
        open_hold_count=evaluation.evidence.open_hold_count,
        evaluation_key=evaluation.provenance.evaluation_key,
    )


def _alternative(hold: Hold, choice: HoldChoice) -> Alternative:
    return hold.best if choice == "BEST" else hold.worst


def _report(
    asked: _Asked, hold: Hold, history: list[Disposition], options: list[HoldOption]
) -> HoldReport:
    stake = hold.best.credited_cycles - hold.worst.credited_cycles
    return HoldReport(
        hold_id=asked.hold_id,
        state=_state(asked.hold),
        name=hold.name,
        lot_id=asked.unit.lot_id,
        lot_number=asked.unit.lot_number,
        unit_id=asked.unit.unit_id,
        unit_serial=asked.unit.unit_serial,
        evidence=hold.evidence,
        verdict=asked.evaluation.verdict,
        evaluation_key=asked.evaluation.provenance.evaluation_key,
        may_decide=MayDecide(),
        options=options,
        dispositions=history,
        credited_cycles_at_stake=stake if options else UNSET,
        answered_with=hold.answer.choice if asked.hold and hold.answer else UNSET,
    )


def _state(hold: Hold | None) -> HoldState:
    if hold is None:
        return "CLOSED"
    return "DECIDED" if hold.answer else "OPEN"


def _options(db: Cursor, asked: _Asked, hold: Hold) -> list[HoldOption]:
    """The lot's verdict with this hold decided each way, everything else as it stands."""
    reading, unit_id = asked.reading, asked.unit.unit_id
    lives = lives_of(db, reading, keep=False)
    known = evidence_of(db, reading, keep=False)
    [evidence] = [each for each in known if each.unit_id == unit_id]
    options = []
    for choice in _CHOICES:
        tried = with_answer(reading, asked.hold_id, trial_answer(choice))
        life = reduce_unit(evidence, reading.spec, tried.facts.answers)
        changed = [life if each.unit_id == unit_id else each for each in lives]
        evaluation = evaluation_of(tried, changed)
        alternative = _alternative(hold, choice)
        options.append(
            HoldOption(
                choice=choice,
                ending=alternative.ending,
                credited_cycles=alternative.credited_cycles,
                failed=alternative.failed,
                verdict=evaluation.verdict,
                kind=evaluation.kind,
                open_hold_count=evaluation.evidence.open_hold_count,
            )
        )
    return options
