"""What a withdrawal or a correction does to lots and units: told before and after."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable

from msgspec import UNSET, Struct

from schemas.corrections import LifeStanding, LotEffect, UnitEffect
from schemas.decisions import Evaluation
from schemas.dispositions import VerdictStanding
from schemas.lives import UnitLife
from service.storage import corrections, decisions
from service.storage.identifiers import opaque_id
from service.storage.lots import lot_ids, lot_key_of
from service.storage.store import Cursor
from service.workflows.decision_standing import as_they_stand
from service.workflows.evaluate_lot import evaluate_reading
from service.workflows.reduce_lot import lives_of, read_lot

_MARK = "WITHDRAWN_BY_CORRECTION"
_MOST_DECISIONS = 10_000
Change = Callable[[], None]
NamedUnits = Collection[tuple[str, str]]
"""Lot numbers and serials."""


class _Standing(Struct, frozen=True, kw_only=True):
    lot_number: str
    verdict: VerdictStanding
    lives: dict[str, UnitLife]
    withdrawn_decisions: set[str]


def make_change(
    db: Cursor, change_id: str, lot_keys: Collection[int], units: NamedUnits, change: Change
) -> list[LotEffect]:
    """
    Make a change to rows, and tell what it did to the lots that it touches.

    Parameters
    ----------
    db : Cursor
        Inside the write transaction.
    change_id : str
    lot_keys : collection of int
        Every lot that it may touch.
    units : collection of tuple of str and str
        Units whose rows or lives it speaks of; others are told where their life changed.
    change : callable
        Makes it.

    Returns
    -------
    list of LotEffect
        By lot; recorded with the change.
    """
    names = lot_ids(db, lot_keys)
    before = {lot_id: _standing(db, lot_id) for lot_id in names}
    change()
    spoken_of = _spoken_of(before.values(), units)
    corrections.touch_lots(db, change_id, dict(zip(sorted(lot_keys), spoken_of, strict=True)))
    effects = [
        _effect(db, lot_id, standing, _standing(db, lot_id), units)
        for lot_id, standing in before.items()
    ]
    corrections.add_effects(db, change_id, effects)
    return effects


def _spoken_of(standings: Iterable[_Standing], units: NamedUnits) -> list[list[str]]:
    """Ids of the units of each lot that a change speaks of."""
    return [
        [opaque_id("unit", lot, serial) for lot, serial in units if lot == standing.lot_number]
        for standing in standings
    ]


def _effect(
    db: Cursor, lot_id: str, before: _Standing, after: _Standing, units: NamedUnits
) -> LotEffect:
    spoken_of = {serial for lot_number, serial in units if lot_number == before.lot_number}
    serials = sorted(
        serial
        for serial in before.lives.keys() | after.lives.keys()
        if serial in spoken_of or before.lives.get(serial) != after.lives.get(serial)
    )
    return LotEffect(
        lot_id=lot_id,
        lot_number=before.lot_number,
        before=before.verdict,
        after=after.verdict,
        units=[_unit_effect(serial, before, after) for serial in serials],
        decisions_withdrawn=sorted(_withdrawn(db, lot_id) - before.withdrawn_decisions),
    )


def _unit_effect(serial: str, before: _Standing, after: _Standing) -> UnitEffect:
    old, new = before.lives.get(serial), after.lives.get(serial)
    return UnitEffect(
        unit_id=opaque_id("unit", before.lot_number, serial),
        unit_serial=serial,
        before=UNSET if old is None else _life(old),
        after=UNSET if new is None else _life(new),
    )


def _life(life: UnitLife) -> LifeStanding:
    return LifeStanding(
        ending=life.ending,
        counted_cycles=life.totals.counted_cycles,
        credited_cycles=life.credited_cycles,
        failed=life.outcome.failed,
    )


def _withdrawn(db: Cursor, lot_id: str) -> set[str]:
    """Recorded verdicts of a lot that are marked as withdrawn."""
    lot_key = lot_key_of(db, lot_id)
    recorded = decisions.list_decisions(db, lot_key, after=0, limit=_MOST_DECISIONS)
    standing = as_they_stand(db, lot_id, recorded)
    return {each.decision_id for _, each in standing if _MARK in each.marks}


def _standing(db: Cursor, lot_id: str) -> _Standing:
    reading = read_lot(db, lot_id)
    evaluation = evaluate_reading(db, reading, keep=True)
    lives = lives_of(db, reading, keep=True)
    return _Standing(
        lot_number=reading.facts.lot_number,
        verdict=verdict_standing(evaluation),
        lives={life.unit_serial: life for life in lives},
        withdrawn_decisions=_withdrawn(db, lot_id),
    )


def verdict_standing(evaluation: Evaluation) -> VerdictStanding:
    """The verdict of an evaluation and what it rests on."""
    return VerdictStanding(
        verdict=evaluation.verdict,
        kind=evaluation.kind,
        open_hold_count=evaluation.evidence.open_hold_count,
        evaluation_key=evaluation.provenance.evaluation_key,
    )
