"""One unit's evidence to its life, with every open question read both ways."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC

from msgspec import UNSET, structs

from analysis.reduction.edge_rule import edge_share_of
from analysis.reduction.endings import LifeEnd
from analysis.reduction.failure_analysis import without_signatures
from analysis.reduction.inspected import is_restart_weep
from analysis.reduction.notices import notices_of
from analysis.reduction.odometer import odometer_cycles, odometer_disagrees
from analysis.reduction.order import cycles_before
from analysis.reduction.readings import Doubt
from analysis.reduction.settled import Answers, SettledLife, settle_life
from analysis.reduction.stops import class_of_stretch
from analysis.reduction.unit_onset import unit_onset
from schemas.lives import CountedAgain, CycleTotals, Outcome, StretchLine, UnitLife, UpToEnding
from schemas.quantities import MOST_CYCLES
from schemas.specs import Spec
from schemas.stretches import NOT_COUNTED_REASONS, StretchSummary
from schemas.unit_evidence import UnitEvidence


def reduce_unit(evidence: UnitEvidence, spec: Spec, answers: Answers | None = None) -> UnitLife:
    """
    Life of a unit under a specification.

    Parameters
    ----------
    evidence : UnitEvidence
        Stretch summaries in order, inspections, events, declared lives.
    spec : Spec
        What counts as a cycle, a failure and an end.
    answers : mapping of str to HoldAnswer, optional
        Signed answers by hold. One to another hold than the unit has now does nothing.

    Returns
    -------
    UnitLife
        Ending and counts as the evidence stands with the signed answers, the open
        questions with both alternatives, the decided ones, and the outcome with all
        open ones read for and against the unit.

    Notes
    -----
    Conflicting rows: the first received stand in the headline; the best and the
    worst reading take either. A question's worst reading is a failure at or
    before its place; of several, the earliest hurts most.
    """
    settled = settle_life(evidence, spec, answers or {})
    if_counted = _counted_again(evidence, spec, answers or {}, settled)
    evidence = structs.replace(evidence, stretches=settled.stretches)
    end = settled.end
    last = evidence.stretches[-1] if evidence.stretches else None
    return UnitLife(
        unit_id=evidence.unit_id,
        lot_number=evidence.lot_number,
        unit_serial=evidence.unit_serial,
        ending=end.ending,
        credited_cycles=end.credited_cycles,
        totals=totals_of(evidence.stretches, end),
        up_to_ending=UpToEnding(
            logged_cycles=end.at_logged,
            counted_cycles=end.at_counted - end.up_to.inferred_cycles,
            inferred_cycles=end.up_to.inferred_cycles or UNSET,
        ),
        verified_cycles=end.verified_cycles,
        marks=_marks(evidence, spec, end, settled.open_doubts),
        holds=settled.open_holds,
        decided_holds=settled.decided_holds,
        stretches=_lines(evidence),
        best=_outcome(settled.best),
        worst=_outcome(settled.worst),
        outcome=_outcome(end),
        after_credit=end.failed and _failed_after(end) >= _credit_ends_at(spec),
        cycles=UNSET if end.cycles is None else end.cycles,
        cycles_low=UNSET if end.cycles_low is None else end.cycles_low,
        cycles_high=UNSET if end.cycles_high is None else end.cycles_high,
        failure=end.failure or UNSET,
        component_batch=evidence.component_batch or UNSET,
        last_rig_id=last.rig_id if last else UNSET,
        last_station_no=last.station_no if last else UNSET,
        last_row_at=last.last_started_at.replace(tzinfo=UTC) if last else UNSET,
        notices=notices_of(evidence, spec, end.failure),
        if_counted=if_counted or UNSET,
        edge=edge_share_of(evidence.stretches, spec),
        station_drifts=evidence.station_drifts,
        onset=end.onset or unit_onset(evidence.stretches, spec, end.at_counted) or UNSET,
    )


def _counted_again(
    evidence: UnitEvidence, spec: Spec, answers: Answers, settled: SettledLife
) -> CountedAgain | None:
    """The result without signatures under failure records; None where they change nothing."""
    readings = (settled.end, settled.best, settled.worst)
    if not any(end.failure and end.failure.counts_less for end in readings):
        return None
    again = settle_life(_unsigned(evidence), spec, answers)
    return CountedAgain(
        outcome=_outcome(again.end), best=_outcome(again.best), worst=_outcome(again.worst)
    )


def _unsigned(evidence: UnitEvidence) -> UnitEvidence:
    """The evidence in every reading of its rows without signatures under failure records."""
    as_read = evidence.as_read
    return structs.replace(
        evidence,
        analyses=without_signatures(evidence.analyses),
        as_read=None if as_read is None else _unsigned(as_read),
    )


def _credit_ends_at(spec: Spec) -> int:
    """Count after which no requirement credits anything; without one, every cycle is credited."""
    ends = (spec.plan.credit_ends_at(each.target_cycles) for each in spec.requirement)
    return max(ends, default=MOST_CYCLES)


def _failed_after(end: LifeEnd) -> int:
    """Count after which the failure is known to have come: a life one cycle less."""
    return (end.cycles_low or 0) if end.cycles is None else end.cycles - 1


def totals_of(stretches: Sequence[StretchSummary], end: LifeEnd) -> CycleTotals:
    """Totals over all distinct rows; a declared life has only its own count."""
    if not stretches:
        return CycleTotals(
            logged_cycles=end.at_logged,
            counted_cycles=end.at_counted,
            not_counted_cycles=0,
            not_counted_by={},
            not_counted_by_every={},
            unlogged_cycles=0,
        )
    reasons = _added(stretch.not_counted_by for stretch in stretches)
    inferred = sum(stretch.tally.inferred_cycles for stretch in stretches)
    by_odometer = odometer_cycles(stretches)
    return CycleTotals(
        logged_cycles=sum(stretch.logged_cycles for stretch in stretches),
        counted_cycles=sum(stretch.counted_cycles for stretch in stretches) - inferred,
        not_counted_cycles=sum(reasons.values()),
        not_counted_by=reasons,
        not_counted_by_every=_added(stretch.not_counted_by_every for stretch in stretches),
        unlogged_cycles=sum(stretch.unlogged_cycles for stretch in stretches),
        inferred_cycles=inferred or UNSET,
        odometer_cycles=UNSET if by_odometer is None else by_odometer,
    )


def _added(counts: Iterable[Mapping[str, int]]) -> dict[str, int]:
    """Counts by reason, added up, in the order of the reasons."""
    total: Counter[str] = Counter()
    for each in counts:
        total.update(each)
    return {reason: total[reason] for reason in NOT_COUNTED_REASONS if total[reason]}


def _marks(evidence: UnitEvidence, spec: Spec, end: LifeEnd, doubts: Sequence[Doubt]) -> list[str]:
    stretches = evidence.stretches
    stops = {class_of_stretch(stretch, evidence.rigs) for stretch in stretches}
    said = {
        "OVERDUE": any(doubt.name.endswith("_OVERDUE") for doubt in doubts),
        "ROWS_MISSING": any(stretch.unlogged_cycles for stretch in stretches),
        "COUNTER_RESET": "COUNTER_RESET" in stops,
        "COUNTER_WRAP": "COUNTER_WRAP" in stops,
        "CYCLED_AFTER_FAILURE": end.failed and _went_on(stretches, end.at_counted),
        "NOT_IN_SAMPLE": not evidence.listed,
        "FROM_LIVES_TABLE": bool(evidence.declared) and not stretches,
        "RESTART_WEEP": any(is_restart_weep(each, spec) for each in evidence.inspections),
        "ODOMETER_DISAGREES": any(odometer_disagrees(stretch) for stretch in stretches),
        "STATION_DRIFT": bool(evidence.station_drifts),
    }
    return [*end.marks, *(mark for mark, is_so in said.items() if is_so)]


def _went_on(stretches: Sequence[StretchSummary], failed_at: int) -> bool:
    """Whether the unit was started again after the stretch in which it failed."""
    later = [
        stretch
        for number, stretch in enumerate(stretches)
        if cycles_before(stretches, number)[0] >= failed_at
    ]
    return any(stretch.counted_cycles for stretch in later)


def _outcome(end: LifeEnd) -> Outcome:
    return Outcome(
        ending=end.ending,
        credited_cycles=end.credited_cycles if end.ending != "VOID" else 0,
        most_cycles=end.most_cycles,
        failed=end.failed,
        has_ended=end.has_ended,
        critical=end.is_critical,
        cycles=end.cycles,
        cycles_low=end.cycles_low,
        cycles_high=end.cycles_high,
    )


def _lines(evidence: UnitEvidence) -> list[StretchLine]:
    lines = []
    for number, stretch in enumerate(evidence.stretches):
        lines.append(
            StretchLine(
                rig_id=stretch.rig_id,
                run_id=stretch.run_id,
                station_no=stretch.station_no,
                lap=stretch.lap,
                first_cycle_in_run=stretch.first_cycle_in_run,
                last_cycle_in_run=stretch.last_cycle_in_run,
                first_started_at=stretch.first_started_at.replace(tzinfo=UTC),
                last_started_at=stretch.last_started_at.replace(tzinfo=UTC),
                logged_cycles=stretch.logged_cycles,
                counted_cycles=stretch.counted_cycles - stretch.tally.inferred_cycles,
                inferred_cycles=stretch.tally.inferred_cycles or UNSET,
                not_counted_by=stretch.not_counted_by,
                unlogged_cycles=stretch.unlogged_cycles,
                counted_before=cycles_before(evidence.stretches, number)[0],
                stop_class=_stop_of(evidence, number),
                stop_reason=stretch.stop_reason or UNSET,
            )
        )
    return lines


def _stop_of(evidence: UnitEvidence, number: int) -> str:
    stretch = evidence.stretches[number]
    is_last = number == len(evidence.stretches) - 1
    if is_last and stretch.stop_reason is None and evidence.is_newest_on_station:
        return "RUNNING"
    return class_of_stretch(stretch, evidence.rigs)
