"""Every open question about a unit as two readings of its life, and all of them together."""

from collections.abc import Sequence

from msgspec import structs

from analysis.reduction.calibration_doubts import FOUND_OUT, calibration_doubts
from analysis.reduction.cycle_doubts import absent_cycles, clipped_cycles, cycle_doubts
from analysis.reduction.declared import end_of_declared
from analysis.reduction.edge_rule import unsure_cycles
from analysis.reduction.endings import LifeEnd, end_of_life
from analysis.reduction.order import other_orders, overlapping_runs, up_to_logged
from analysis.reduction.questions import open_questions
from analysis.reduction.readings import (
    Doubt,
    either,
    excluded,
    with_unrecorded,
    without_cycles,
    worst_reading,
)
from schemas.holds import HoldEvidence
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from schemas.unit_evidence import UnitEvidence

_OF_CYCLES = ("CONDITION_NOT_RECORDED", "PEAK_CLIPPED", "UNCERTAINTY_NOT_RECORDED")
"""Doubts about whether cycles count. They change every other reading too."""


def as_it_stands(evidence: UnitEvidence, spec: Spec) -> LifeEnd:
    """How the life ends with every question answered as the evidence stands."""
    if evidence.declared and not evidence.stretches:
        return end_of_declared(evidence.declared[0], spec, evidence.analyses)
    return end_of_life(evidence, evidence.stretches, spec)


def doubts_of(evidence: UnitEvidence, spec: Spec, end: LifeEnd) -> list[Doubt]:
    """
    Every open question about a unit, each with both readings of its life.

    Parameters
    ----------
    evidence : UnitEvidence
        What is known about the unit.
    spec : Spec
        The specification.
    end : LifeEnd
        How the life ends as the evidence stands.

    Returns
    -------
    list of Doubt
    """
    doubts = calibration_doubts(evidence, spec, end) + _conflicts(evidence, spec)
    for question in open_questions(evidence, evidence.stretches, spec, end):
        worst = worst_reading(question, end, spec)
        doubts.append(
            Doubt(name=question.name, evidence=[question.evidence], best=end, worst=worst)
        )
    doubts += _identity_doubts(evidence, end)
    doubts += _order_doubts(evidence, spec, end)
    doubts += cycle_doubts(evidence, evidence.stretches, spec, end)
    doubts += _source_doubts(evidence, spec)
    if not evidence.listed:
        doubts.append(Doubt(name="NOT_IN_SAMPLE", evidence=[], best=end, worst=excluded(end)))
    return doubts


def extremes(
    evidence: UnitEvidence,
    spec: Spec,
    end: LifeEnd,
    doubts: Sequence[Doubt],
    *,
    answered: Sequence[Doubt] = (),
) -> tuple[LifeEnd, LifeEnd]:
    """
    The life with every doubt read for the unit, and with every doubt against it.

    Parameters
    ----------
    evidence : UnitEvidence
        What is known about the unit.
    spec : Spec
        The specification.
    end : LifeEnd
        How the life ends as the evidence stands.
    doubts : sequence of Doubt
        Its open questions.
    answered : sequence of Doubt, optional, keyword only
        Questions that a person answered: the other reading of conflicting rows does not
        ask them again.

    Returns
    -------
    best, worst : LifeEnd
        Doubts about the number of cycles are laid over the others.
    """
    best, worst = end, end
    names = {doubt.name for doubt in doubts}
    for doubt in doubts:
        if doubt.name not in _OF_CYCLES:
            best, worst = either(best, doubt.best)[0], either(worst, doubt.worst)[1]
    if evidence.kindest:
        worst = _worst_of_conflicting(evidence, spec, worst, answered)
    if worst.failure and any(doubt.worst.is_critical for doubt in doubts):
        worst = structs.replace(worst, failure=structs.replace(worst.failure, critical=True))
    if any(doubt.best.at_counted > end.at_counted for doubt in doubts if _is_record(doubt)):
        best = with_unrecorded(best, evidence.stretches, spec)

    def in_doubt(stretch: StretchSummary) -> int:
        clipped = clipped_cycles(stretch) if "PEAK_CLIPPED" in names else 0
        unsure = unsure_cycles(spec)(stretch) if "UNCERTAINTY_NOT_RECORDED" in names else 0
        return absent_cycles(stretch) + clipped + unsure

    # Whatever the worst is, cycles of which a condition is not known may not count either.
    worst = without_cycles(worst, evidence.stretches, spec, in_doubt)
    if FOUND_OUT not in names or evidence.as_read is None:
        return best, worst
    best_as_read, worst_as_read = _extremes_as_read(evidence.as_read, spec)
    return either(best, best_as_read)[0], either(worst, worst_as_read)[1]


def _extremes_as_read(as_read: UnitEvidence, spec: Spec) -> tuple[LifeEnd, LifeEnd]:
    """Both ends of a life if a calibration record is disputed: readings ask their own questions."""
    end = as_it_stands(as_read, spec)
    return extremes(as_read, spec, end, doubts_of(as_read, spec, end))


def _is_record(doubt: Doubt) -> bool:
    return doubt.name == "CONDITION_NOT_RECORDED"


def _worst_of_conflicting(
    evidence: UnitEvidence, spec: Spec, worst: LifeEnd, answered: Sequence[Doubt]
) -> LifeEnd:
    """Conflicting rows may move the place of every other question, and raise new ones."""
    settled = [(doubt.name, doubt.evidence) for doubt in answered]
    for question in open_questions(evidence, evidence.harshest, spec, worst):
        if (question.name, [question.evidence]) in settled:
            continue
        worst = either(worst, worst_reading(question, worst, spec))[1]
    harshest = end_of_life(evidence, evidence.harshest, spec)
    for doubt in cycle_doubts(evidence, evidence.harshest, spec, harshest):
        if doubt.name not in _OF_CYCLES:
            worst = either(worst, doubt.worst)[1]
    return worst


def _conflicts(evidence: UnitEvidence, spec: Spec) -> list[Doubt]:
    if not evidence.kindest:
        return []
    best, worst = either(
        end_of_life(evidence, evidence.kindest, spec),
        end_of_life(evidence, evidence.harshest, spec),
    )
    return [Doubt(name="CONFLICTING_ROWS", evidence=evidence.conflicts, best=best, worst=worst)]


def _identity_doubts(evidence: UnitEvidence, end: LifeEnd) -> list[Doubt]:
    """Rows up to the end that may be another unit's: they are this unit's, or it is void."""
    lived = {
        (each.stretch_key, each.lap) for each in up_to_logged(evidence.stretches, end.at_logged)
    }
    where = [
        each.evidence
        for each in evidence.identity_conflicts
        if (each.stretch_key, each.lap) in lived
    ]
    if not where:
        return []
    return [Doubt(name="IDENTITY_CONFLICT", evidence=where, best=end, worst=excluded(end))]


def _order_doubts(evidence: UnitEvidence, spec: Spec, end: LifeEnd) -> list[Doubt]:
    """An order that is not certain matters only if another one gives another life."""
    best, worst = end, end
    orders = [*other_orders(evidence.stretches)]
    for order in [*orders, evidence.by_clock] if evidence.by_clock else orders:
        reading = end_of_life(evidence, order, spec)
        best, worst = either(best, reading)[0], either(worst, reading)[1]
    if _same_life(best, end) and _same_life(worst, end):
        return []
    uncertain = {*overlapping_runs(evidence.stretches)}
    uncertain |= {each.stretch_key for each in evidence.by_clock if each.lap > 1}
    where = [
        HoldEvidence(rig_id=each.rig_id, run_id=each.run_id, station_no=each.station_no)
        for each in evidence.stretches
        if each.is_last_lap and each.stretch_key in uncertain
    ]
    return [Doubt(name="ORDER_AMBIGUOUS", evidence=where, best=best, worst=worst)]


def _same_life(first: LifeEnd, second: LifeEnd) -> bool:
    return (first.ending, first.credited_cycles) == (second.ending, second.credited_cycles)


def _source_doubts(evidence: UnitEvidence, spec: Spec) -> list[Doubt]:
    """A unit has one source of its life: rows, or one row of a lives table."""
    readings = [end_of_declared(life, spec, evidence.analyses) for life in evidence.declared]
    if evidence.stretches:
        readings.append(end_of_life(evidence, evidence.stretches, spec))
    if len(readings) < 2:
        return []
    best, worst = readings[0], readings[0]
    for reading in readings[1:]:
        best, worst = either(best, reading)[0], either(worst, reading)[1]
    return [Doubt(name="LIFE_SOURCE_CONFLICT", evidence=[], best=best, worst=worst)]
