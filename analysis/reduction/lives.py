"""One unit's evidence to its life, with every open question read both ways."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC

from msgspec import UNSET, Struct, structs

from analysis.reduction.declared import end_of_declared
from analysis.reduction.endings import LifeEnd, end_of_life, planned_cycles
from analysis.reduction.modes import UNANALYSED, may_be_critical
from analysis.reduction.order import cycles_before, other_orders, overlapping_runs
from analysis.reduction.questions import Question, open_questions
from analysis.reduction.stops import class_of_stretch
from schemas.holds import Alternative, Hold, HoldCode, HoldEvidence
from schemas.lives import CycleTotals, FailureSeen, Outcome, StretchLine, UnitLife, UpToEnding
from schemas.quantities import MOST_CYCLES
from schemas.specs import Spec
from schemas.stretches import NOT_COUNTED_REASONS, StretchSummary
from schemas.unit_evidence import UnitEvidence


class _Doubt(Struct, frozen=True, kw_only=True):
    """An open question as two readings of the whole life."""

    name: HoldCode
    evidence: list[HoldEvidence]
    best: LifeEnd
    worst: LifeEnd


def reduce_unit(evidence: UnitEvidence, spec: Spec) -> UnitLife:
    """
    Life of a unit under a specification.

    Parameters
    ----------
    evidence : UnitEvidence
        Stretch summaries in order, inspections, events, declared lives.
    spec : Spec
        What counts as a cycle, a failure and an end.

    Returns
    -------
    UnitLife
        Ending and counts as the evidence stands, the open questions with both
        alternatives, and the outcome with all of them read for and against
        the unit.

    Notes
    -----
    Conflicting rows: the first received stand in the headline; the best and the
    worst reading take either. A question's worst reading is a failure at or
    before its place; of several, the earliest hurts most.
    """
    end = _headline(evidence, spec)
    doubts = _doubts(evidence, spec, end)
    best, worst = _extremes(evidence, spec, end, doubts)
    caps = (spec.plan.credit_ends_at(each.target_cycles) for each in spec.requirement)
    cap = max(caps, default=MOST_CYCLES)
    last = evidence.stretches[-1] if evidence.stretches else None
    return UnitLife(
        unit_id=evidence.unit_id,
        lot_number=evidence.lot_number,
        unit_serial=evidence.unit_serial,
        ending=end.ending,
        credited_cycles=end.credited_cycles,
        totals=totals_of(evidence.stretches, end),
        up_to_ending=UpToEnding(logged_cycles=end.at_logged, counted_cycles=end.at_counted),
        verified_cycles=end.verified_cycles,
        marks=_marks(evidence, end, doubts),
        holds=_holds(evidence, doubts),
        stretches=_lines(evidence),
        best=_outcome(best),
        worst=_outcome(worst),
        outcome=_outcome(end),
        after_credit=end.failed and _failed_after(end) >= cap,
        cycles=UNSET if end.cycles is None else end.cycles,
        cycles_low=UNSET if end.cycles_low is None else end.cycles_low,
        cycles_high=UNSET if end.cycles_high is None else end.cycles_high,
        failure=end.failure or UNSET,
        component_batch=evidence.component_batch or UNSET,
        last_rig_id=last.rig_id if last else UNSET,
        last_station_no=last.station_no if last else UNSET,
        last_row_at=last.last_started_at.replace(tzinfo=UTC) if last else UNSET,
    )


def _headline(evidence: UnitEvidence, spec: Spec) -> LifeEnd:
    if evidence.declared and not evidence.stretches:
        return end_of_declared(evidence.declared[0], spec)
    return end_of_life(evidence, evidence.stretches, spec)


def _failed_after(end: LifeEnd) -> int:
    """Count after which the failure is known to have come: a life one cycle less."""
    return (end.cycles_low or 0) if end.cycles is None else end.cycles - 1


def _doubts(evidence: UnitEvidence, spec: Spec, end: LifeEnd) -> list[_Doubt]:
    doubts = []
    if evidence.kindest:
        best, worst = _either(
            end_of_life(evidence, evidence.kindest, spec),
            end_of_life(evidence, evidence.harshest, spec),
        )
        doubts.append(
            _Doubt(name="CONFLICTING_ROWS", evidence=evidence.conflicts, best=best, worst=worst)
        )
    for question in open_questions(evidence, evidence.stretches, spec, end):
        worst = _worst_reading(question, end, spec)
        doubts.append(
            _Doubt(name=question.name, evidence=[question.evidence], best=end, worst=worst)
        )
    doubts += _order_doubts(evidence, spec, end)
    if _absent_before(evidence.stretches, end.at_counted):
        worst = _if_not_met(end, evidence.stretches, spec)
        doubts.append(
            _Doubt(
                name="CONDITION_NOT_RECORDED",
                evidence=_where_absent(evidence.stretches),
                best=end,
                worst=worst,
            )
        )
    doubts += _source_doubts(evidence, spec)
    if not evidence.listed:
        doubts.append(_Doubt(name="NOT_IN_SAMPLE", evidence=[], best=end, worst=_excluded(end)))
    return doubts


def _order_doubts(evidence: UnitEvidence, spec: Spec, end: LifeEnd) -> list[_Doubt]:
    """An order that is not certain matters only if another one gives another life."""
    best, worst = end, end
    orders = [*other_orders(evidence.stretches)]
    for order in [*orders, evidence.by_clock] if evidence.by_clock else orders:
        reading = end_of_life(evidence, order, spec)
        best, worst = _either(best, reading)[0], _either(worst, reading)[1]
    if _same_life(best, end) and _same_life(worst, end):
        return []
    uncertain = {*overlapping_runs(evidence.stretches)}
    uncertain |= {each.stretch_key for each in evidence.by_clock if each.lap > 1}
    where = [
        HoldEvidence(rig_id=each.rig_id, run_id=each.run_id, station_no=each.station_no)
        for each in evidence.stretches
        if each.is_last_lap and each.stretch_key in uncertain
    ]
    return [_Doubt(name="ORDER_AMBIGUOUS", evidence=where, best=best, worst=worst)]


def _same_life(first: LifeEnd, second: LifeEnd) -> bool:
    return (first.ending, first.credited_cycles) == (second.ending, second.credited_cycles)


def _source_doubts(evidence: UnitEvidence, spec: Spec) -> list[_Doubt]:
    """A unit has one source of its life: rows, or one row of a lives table."""
    readings = [end_of_declared(life, spec) for life in evidence.declared]
    if evidence.stretches:
        readings.append(end_of_life(evidence, evidence.stretches, spec))
    if len(readings) < 2:
        return []
    best, worst = readings[0], readings[0]
    for reading in readings[1:]:
        best, worst = _either(best, reading)[0], _either(worst, reading)[1]
    return [_Doubt(name="LIFE_SOURCE_CONFLICT", evidence=[], best=best, worst=worst)]


def _extremes(
    evidence: UnitEvidence, spec: Spec, end: LifeEnd, doubts: Sequence[_Doubt]
) -> tuple[LifeEnd, LifeEnd]:
    """The life with every doubt read for the unit, and with every doubt against it."""
    best, worst = end, end
    for doubt in doubts:
        if doubt.name != "CONDITION_NOT_RECORDED":
            best, worst = _either(best, doubt.best)[0], _either(worst, doubt.worst)[1]
    if evidence.kindest:
        # Conflicting rows may move the place of every other question too.
        for question in open_questions(evidence, evidence.harshest, spec, worst):
            worst = _either(worst, _worst_reading(question, worst, spec))[1]
    if worst.failure and any(doubt.worst.is_critical for doubt in doubts):
        worst = structs.replace(worst, failure=structs.replace(worst.failure, critical=True))
    # Whatever the worst is, cycles of which a condition is not known may not count either.
    return best, _if_not_met(worst, evidence.stretches, spec)


def _either(first: LifeEnd, second: LifeEnd) -> tuple[LifeEnd, LifeEnd]:
    """The better and the worse of two readings: a failure hurts most, then less credit."""
    ordered = sorted(
        (first, second),
        key=lambda end: (end.failed, end.ending == "VOID", -end.credited_cycles),
    )
    return ordered[0], ordered[1]


def _worst_reading(question: Question, end: LifeEnd, spec: Spec) -> LifeEnd:
    exact = question.worst_low >= question.at_counted
    seen = FailureSeen(
        seen_as="NOT_RECORDED",
        failure_mode=UNANALYSED,
        critical=may_be_critical(spec, rows_are_silent=question.name == "UNIT_OVERDUE"),
        relevant=True,
    )
    return LifeEnd(
        ending="FAILED" if exact else "FAILED_BETWEEN",
        at_counted=question.at_counted,
        at_logged=min(question.at_logged, end.at_logged),
        verified_cycles=question.worst_low,
        has_ended=True,
        cycles=question.at_counted if exact else None,
        cycles_low=None if exact else question.worst_low,
        cycles_high=None if exact else question.at_counted,
        failure=seen,
    )


def _if_not_met(end: LifeEnd, stretches: Sequence[StretchSummary], spec: Spec) -> LifeEnd:
    """The same end if no cycle counted of which a condition was not recorded."""

    def met(cycles: int) -> int:
        return cycles - _absent_before(stretches, cycles)

    if not _absent_before(stretches, end.at_counted):
        return end
    verified = met(end.verified_cycles)
    short = end.ending == "RUN_OUT" and verified < planned_cycles(spec)
    reading = structs.replace(
        end,
        ending="SUSPENDED" if short else end.ending,
        has_ended=end.has_ended and not short,
        at_counted=met(end.at_counted),
        verified_cycles=verified,
    )
    if end.ending != "FAILED_BETWEEN":
        return structs.replace(reading, cycles=None if end.cycles is None else met(end.cycles))
    low, high = met(end.cycles_low or 0), met(end.cycles_high or 0)
    if low < high:
        return structs.replace(reading, cycles_low=low, cycles_high=high)
    return structs.replace(reading, ending="FAILED", cycles=high, cycles_low=None, cycles_high=None)


def _excluded(end: LifeEnd) -> LifeEnd:
    """What hurts more of counted and excluded: a failure counts, anything else is void."""
    if end.failed:
        return end
    return structs.replace(end, ending="VOID", verified_cycles=0, has_ended=True)


def _absent_before(stretches: Sequence[StretchSummary], counted_cycles: int) -> int:
    """Of the first counted cycles, at most so many had a condition that was not recorded."""
    absent, remaining = 0, counted_cycles
    for stretch in stretches:
        part = min(stretch.counted_cycles, remaining)
        absent += min(stretch.condition_absent_cycles, part)
        remaining -= part
    return absent


def _where_absent(stretches: Sequence[StretchSummary]) -> list[HoldEvidence]:
    return [
        HoldEvidence(
            rig_id=each.rig_id,
            run_id=each.run_id,
            station_no=each.station_no,
            cycles=each.condition_absent_cycles,
        )
        for each in stretches
        if each.condition_absent_cycles
    ]


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
    return CycleTotals(
        logged_cycles=sum(stretch.logged_cycles for stretch in stretches),
        counted_cycles=sum(stretch.counted_cycles for stretch in stretches),
        not_counted_cycles=sum(reasons.values()),
        not_counted_by=reasons,
        not_counted_by_every=_added(stretch.not_counted_by_every for stretch in stretches),
        unlogged_cycles=sum(stretch.unlogged_cycles for stretch in stretches),
    )


def _added(counts: Iterable[Mapping[str, int]]) -> dict[str, int]:
    """Counts by reason, added up, in the order of the reasons."""
    total: Counter[str] = Counter()
    for each in counts:
        total.update(each)
    return {reason: total[reason] for reason in NOT_COUNTED_REASONS if total[reason]}


def _marks(evidence: UnitEvidence, end: LifeEnd, doubts: Sequence[_Doubt]) -> list[str]:
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


def _holds(evidence: UnitEvidence, doubts: Sequence[_Doubt]) -> list[Hold]:
    """Holds, numbered among those of the same name: a new one renames no other kind."""
    numbers: Counter[str] = Counter()
    holds = []
    for doubt in doubts:
        numbers[doubt.name] += 1
        holds.append(_hold(evidence, numbers[doubt.name], doubt))
    return holds


def _hold(evidence: UnitEvidence, number: int, doubt: _Doubt) -> Hold:
    return Hold(
        hold_id=f"{evidence.unit_id}.{doubt.name}.{number}",
        name=doubt.name,
        evidence=doubt.evidence,
        best=_alternative(doubt.best),
        worst=_alternative(doubt.worst),
        lot_number=evidence.lot_number,
        unit_id=evidence.unit_id,
        unit_serial=evidence.unit_serial,
    )


def _alternative(end: LifeEnd) -> Alternative:
    return Alternative(ending=end.ending, credited_cycles=end.credited_cycles, failed=end.failed)


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
                counted_cycles=stretch.counted_cycles,
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
