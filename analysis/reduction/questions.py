"""What no rule decides about a unit: each question with its worst reading."""

from collections.abc import Sequence

from msgspec import UNSET

from analysis.reduction.endings import LifeEnd
from analysis.reduction.failure_analysis import names_failure
from analysis.reduction.modes import failure_found, needs_inspection, sees_dry_unit
from analysis.reduction.onset_questions import onset_not_judged
from analysis.reduction.order import cycles_before
from analysis.reduction.readings import Question
from analysis.reduction.stops import class_of_stretch
from analysis.reduction.swaps import possible_swaps
from schemas.holds import HoldCode, HoldEvidence
from schemas.lots import NewInspection
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from schemas.unit_evidence import UnitEvidence

_HOLD_OF_STOP: dict[str, HoldCode] = {
    "UNKNOWN": "UNEXPLAINED_STOP",
    "UNIT_SUSPECT": "UNIT_SUSPECT_UNCONFIRMED",
}


def open_questions(
    evidence: UnitEvidence,
    stretches: Sequence[StretchSummary],
    spec: Spec,
    end: LifeEnd,
) -> list[Question]:
    """
    Questions about the life before its end, in the order of the life.

    Parameters
    ----------
    evidence : UnitEvidence
        What is known about the unit.
    stretches : sequence of StretchSummary
        The unit's stretches in order.
    spec : Spec
        The specification.
    end : LifeEnd
        How the life ends if every question is answered in the unit's favour.

    Returns
    -------
    list of Question
        Stops that nobody explained, suspicions, low-fluid stops without an
        inspection, removals because of a symptom, steps of the baseline, silence, failure
        records of a unit that shows no failure.
    """
    stops = [
        question
        for number in range(len(stretches))
        for question in _about_stop(evidence, stretches, spec, number)
    ]
    questions = stops + _low_fluid(evidence, spec) + _removals(evidence, end)
    questions += possible_swaps(stretches, spec) + onset_not_judged(stretches, spec, end)
    before_end = [q for q in questions if _matters(q, end)]
    before_end += _about_silence(evidence, stretches, spec, end)
    before_end += _about_records(evidence, spec, end)
    return sorted(before_end, key=lambda question: question.at_counted)


def _matters(question: Question, end: LifeEnd) -> bool:
    """A question after the end, or at the first failure, changes nothing any more."""
    return question.at_counted < end.at_counted + (not end.failed)


def _about_stop(
    evidence: UnitEvidence, stretches: Sequence[StretchSummary], spec: Spec, number: int
) -> list[Question]:
    stretch = stretches[number]
    is_last = number == len(stretches) - 1
    if is_last and stretch.stop_reason is None and evidence.is_newest_on_station:
        return []
    name = _hold_of_stop(stretch, evidence)
    if name is None:
        return []
    counted, logged = cycles_before(stretches, number + 1)
    return [
        Question(
            name=name,
            at_counted=counted,
            at_logged=logged,
            worst_low=counted,
            evidence=HoldEvidence(
                rig_id=stretch.rig_id,
                run_id=stretch.run_id,
                station_no=stretch.station_no,
                from_cycle_in_run=stretch.last_cycle_in_run,
                to_cycle_in_run=stretch.last_cycle_in_run,
                raw_code=stretch.stop_reason or UNSET,
            ),
        )
    ]


def _hold_of_stop(stretch: StretchSummary, evidence: UnitEvidence) -> HoldCode | None:
    """What a stop leaves open. Two stations of a supply that gave way together explain it."""
    if stretch.is_last_lap:
        cause = evidence.cannot_build.get(stretch.stretch_key)
        if cause == "RIG":
            return None
        if cause == "UNCLEAR":
            return "CANNOT_BUILD_UNCLEAR"
    return _HOLD_OF_STOP.get(class_of_stretch(stretch, evidence.rigs))


def _low_fluid(evidence: UnitEvidence, spec: Spec) -> list[Question]:
    """
    Low-fluid stops after which nobody looked at the unit: a leak is a classic cause.

    A look that found the unit dry heals; one that found a failure ends the life by itself.
    """
    questions = []
    for stop in evidence.low_fluid_stops:
        looked_after = [
            located.inspection
            for located in evidence.inspections
            if located.counted_cycles >= stop.counted_cycles
            and located.inspection.inspected_at >= stop.stopped_at
        ]
        if any(sees_dry_unit(each, spec) or _fails(each, spec) for each in looked_after):
            continue
        dry_before = [
            located.counted_cycles
            for located in evidence.inspections
            if located.counted_cycles <= stop.counted_cycles
            and sees_dry_unit(located.inspection, spec)
        ]
        questions.append(
            Question(
                name="LOW_FLUID_UNINSPECTED",
                at_counted=stop.counted_cycles,
                at_logged=stop.counted_cycles,
                worst_low=max(dry_before, default=0),
                evidence=HoldEvidence(
                    rig_id=stop.rig_id,
                    run_id=stop.run_id,
                    from_cycle_in_run=stop.cycle_in_run,
                    to_cycle_in_run=stop.cycle_in_run,
                ),
            )
        )
    return questions


def _fails(inspection: NewInspection, spec: Spec) -> bool:
    mode = failure_found(inspection, spec)
    return mode is not None and mode.relevant


def _removals(evidence: UnitEvidence, end: LifeEnd) -> list[Question]:
    """A unit taken off or worked on because something looked wrong may have failed."""
    questions = []
    for located in evidence.events:
        if located.event.kind not in ("REMOVED", "REWORK"):
            continue
        if located.event.cause == "SCHEDULED" or located.counted_cycles > end.at_counted:
            continue
        where = HoldEvidence(rig_id=located.event.rig_id)
        questions.append(
            Question(
                name="REMOVED_ON_SUSPICION",
                at_counted=located.counted_cycles,
                at_logged=located.logged_cycles,
                worst_low=located.counted_cycles,
                evidence=where,
            )
        )
    return questions


def _about_silence(
    evidence: UnitEvidence,
    stretches: Sequence[StretchSummary],
    spec: Spec,
    end: LifeEnd,
) -> list[Question]:
    """Silence is not success: an overdue unit may have failed at its last verified point."""
    if end.has_ended or not stretches:
        return []
    last = stretches[-1]
    since_check = end.at_counted - end.verified_cycles
    interval = spec.inspection_interval_cycles
    late = needs_inspection(spec) and interval is not None and since_check > interval
    name: HoldCode = "UNIT_OVERDUE"
    if late or (evidence.is_overdue and "END_CHECK_DUE" in end.marks):
        name = "INSPECTION_OVERDUE"
    elif not evidence.is_overdue:
        return []
    return [
        Question(
            name=name,
            at_counted=end.verified_cycles,
            at_logged=end.at_logged,
            worst_low=end.verified_cycles,
            evidence=HoldEvidence(
                rig_id=last.rig_id,
                run_id=last.run_id,
                station_no=last.station_no,
                to_cycle_in_run=last.last_cycle_in_run,
                cycles=since_check,
            ),
        )
    ]


def _about_records(evidence: UnitEvidence, spec: Spec, end: LifeEnd) -> list[Question]:
    """A failure record of a unit that shows no failure: somebody took it for failed."""
    if end.failure is not None or not names_failure(evidence.analyses, spec):
        return []
    newest = evidence.analyses[-1]
    clean = end.verified_cycles if newest.clean_cycles is None else newest.clean_cycles
    return [
        Question(
            name="UNIT_SUSPECT_UNCONFIRMED",
            at_counted=end.at_counted,
            at_logged=end.at_logged,
            worst_low=min(clean, end.verified_cycles),
            evidence=HoldEvidence(raw_code=newest.record_key),
        )
    ]
