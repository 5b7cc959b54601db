"""The verdict under every way of deciding a lot's open holds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from itertools import product

from msgspec import UNSET

from analysis.decision.evaluation import verdict_on
from analysis.reduction.lives import reduce_unit
from schemas.dispositions import CombinationVerdict, HoldCombinations
from schemas.holds import HoldAnswer, HoldChoice
from schemas.lives import UnitLife
from schemas.unit_evidence import UnitEvidence
from service.storage.store import Cursor
from service.workflows.evaluate_lot import evaluate_reading, lot_evidence
from service.workflows.reduce_lot import LotReading, evidence_of, lives_of, read_lot

MOST_ENUMERATED = 8
"""Open holds of which every combination is tried: 256 verdicts."""
Choices = dict[str, HoldChoice]


def trial_answer(choice: HoldChoice) -> HoldAnswer:
    """An answer that nobody signed: it is tried, never stored and never shown."""
    never = datetime(1970, 1, 1, tzinfo=UTC)
    return HoldAnswer(choice=choice, meaning="", reason="", signed_at=never, signed_by="")


def combinations_of(db: Cursor, lot_id: str) -> HoldCombinations:
    """
    Verdict on a lot under every way of deciding its open holds.

    Parameters
    ----------
    db : Cursor
    lot_id : str

    Returns
    -------
    HoldCombinations
        All combinations of up to `MOST_ENUMERATED` holds; of more, all of them for the
        lot and all of them against it.

    Raises
    ------
    NotFound
        If there is no such lot.
    """
    reading = read_lot(db, lot_id)
    evaluation = evaluate_reading(db, reading, keep=False)
    held: dict[str, list[str]] = defaultdict(list)
    for hold in evaluation.holds:
        if hold.unit_id:
            held[hold.unit_id].append(hold.hold_id)
    is_complete = len(evaluation.holds) <= MOST_ENUMERATED
    lives = _decided_lives(db, reading, held, is_complete=is_complete)
    return HoldCombinations(
        lot_id=lot_id,
        lot_number=evaluation.lot_number,
        evaluation_key=evaluation.provenance.evaluation_key,
        verdict=evaluation.verdict,
        open_hold_count=len(evaluation.holds),
        is_complete=is_complete,
        combinations=[*_verdicts(db, reading, lives, is_complete=is_complete)],
    )


def _decided_lives(
    db: Cursor, reading: LotReading, held: Mapping[str, Sequence[str]], *, is_complete: bool
) -> list[list[tuple[Choices, UnitLife]]]:
    """For each held unit its life under every combination of its own holds."""
    if not held:
        return []
    return [
        [
            (choices, _life(reading, evidence, choices))
            for choices in _ways(held[evidence.unit_id], is_complete=is_complete)
        ]
        for evidence in evidence_of(db, reading, keep=False)
        if evidence.unit_id in held
    ]


def _ways(hold_ids: Sequence[str], *, is_complete: bool) -> Iterator[Choices]:
    """Every way of deciding some holds, or all one way and all the other."""
    both: tuple[HoldChoice, ...] = ("BEST", "WORST")
    if is_complete:
        for choices in product(both, repeat=len(hold_ids)):
            yield dict(zip(hold_ids, choices, strict=True))
    else:
        for choice in both:
            yield dict.fromkeys(hold_ids, choice)


def _life(reading: LotReading, evidence: UnitEvidence, choices: Choices) -> UnitLife:
    tried = {hold_id: trial_answer(choice) for hold_id, choice in choices.items()}
    return reduce_unit(evidence, reading.spec, {**reading.facts.answers, **tried})


def _verdicts(
    db: Cursor,
    reading: LotReading,
    decided: Sequence[Sequence[tuple[Choices, UnitLife]]],
    *,
    is_complete: bool,
) -> Iterator[CombinationVerdict]:
    lives = lives_of(db, reading, keep=False)
    spec = reading.version.spec if reading.version else None
    for units in product(*decided) if is_complete else zip(*decided, strict=True):
        tried = {life.unit_id: life for _, life in units}
        evidence = lot_evidence(reading, [tried.get(each.unit_id, each) for each in lives])
        judged = verdict_on(evidence, spec)
        yield CombinationVerdict(
            choices={hold_id: choice for each, _ in units for hold_id, choice in each.items()},
            verdict=judged.verdict,
            kind=UNSET if judged.kind is None else judged.kind,
        )
