"""A life with the signed answers to its questions taken, and what is still open about it."""

from collections.abc import Callable, Iterable, Mapping, Sequence

from msgspec import Struct, structs

from analysis.reduction.calibration_doubts import FOUND_OUT
from analysis.reduction.cycle_doubts import absent_cycles, clipped_cycles
from analysis.reduction.declared import end_of_declared
from analysis.reduction.doubts import as_it_stands, doubts_of, extremes
from analysis.reduction.edge_rule import unsure_cycles
from analysis.reduction.endings import LifeEnd, as_analysed, end_of_life
from analysis.reduction.holds import hold_ids, hold_of
from analysis.reduction.order import up_to_logged
from analysis.reduction.readings import Doubt, either, with_unrecorded, without_cycles
from analysis.reduction.tallies import tally_before
from schemas.holds import Hold, HoldAnswer, HoldChoice
from schemas.specs import Spec
from schemas.stretches import CycleTally, StretchSummary
from schemas.unit_evidence import UnitEvidence

Answers = Mapping[str, HoldAnswer]
_ROWS, _SOURCE, _ORDER = "CONFLICTING_ROWS", "LIFE_SOURCE_CONFLICT", "ORDER_AMBIGUOUS"
_NOT_RECORDED, _CLIPPED = "CONDITION_NOT_RECORDED", "PEAK_CLIPPED"
_UNSURE = "UNCERTAINTY_NOT_RECORDED"
_OF_CYCLES = (_NOT_RECORDED, _CLIPPED, _UNSURE)
_FIRST = (FOUND_OUT, _ROWS, _SOURCE)
"""Answers to these choose what the life is read from; everything else is asked after them."""


class SettledLife(Struct, frozen=True, kw_only=True):
    """
    A life as it stands with its signed answers, and at both ends of what is open.

    `stretches` are the unit's rows as they were settled, `open_doubts` the questions
    that nobody answered; `open_holds` and `decided_holds` name all of them.
    """

    end: LifeEnd
    best: LifeEnd
    worst: LifeEnd
    stretches: list[StretchSummary]
    open_doubts: list[Doubt]
    open_holds: list[Hold]
    decided_holds: list[Hold]


class _Answered(Struct, frozen=True, kw_only=True):
    """A question with its signed answer."""

    hold_id: str
    doubt: Doubt
    answer: HoldAnswer

    @property
    def chosen(self) -> LifeEnd:
        return self.doubt.best if self.answer.choice == "BEST" else self.doubt.worst


def settle_life(evidence: UnitEvidence, spec: Spec, answers: Answers) -> SettledLife:
    """
    Take the signed answers to a unit's questions, and say what is still open.

    Parameters
    ----------
    evidence : UnitEvidence
        What is known about the unit.
    spec : Spec
        The specification.
    answers : mapping of str to HoldAnswer
        Signed answers by hold. Those to other units' holds, and to questions behind
        which something has changed since, are passed over.

    Returns
    -------
    SettledLife

    Notes
    -----
    An answered question takes the alternative chosen in every reading. Whether a
    calibration is to be believed, which rows and which source are true is settled first;
    then the order and what happened at stops, removals and silences; last, which cycles
    count. After each step the questions are asked anew of the life as settled so far: what
    lies after a failure that was signed asks nothing any more, and rows that were chosen
    may ask something else.
    """
    read, taken = evidence, list[_Answered]()
    for name in _FIRST:
        read, answered = _read_from(name, read, spec, answers)
        taken += answered
    rows = read.stretches or evidence.stretches
    # A calibration that was signed to be right leaves the unit void, whatever else is settled.
    found_out = [each for each in taken if each.doubt.name == FOUND_OUT]
    end = _worst_signed(as_it_stands(read, spec), found_out, read.stretches)
    while new := _newly_answered(read, spec, end, answers, taken):
        other_lives = [each for each in new if _is_another_life(each, end)]
        end = other_lives[0].chosen if other_lives else _worst_signed(end, new, read.stretches)
        end = as_analysed(end, evidence, spec)
        taken += other_lives[:1] or new
    known = _asked(read, spec, end, taken)
    of_cycles = [each for each in _answered(known, answers) if each.doubt.name in _OF_CYCLES]
    taken += of_cycles
    still_open = {key: known[key] for key in known if key not in {t.hold_id for t in taken}}
    best, worst = _extremes(read, spec, end, still_open.values(), taken)
    return SettledLife(
        end=_as_signed(end, read, spec, of_cycles),
        best=best,
        worst=worst,
        stretches=rows,
        open_doubts=[*still_open.values()],
        open_holds=[
            hold_of(evidence, key, _doubt_as_signed(doubt, read, spec, of_cycles))
            for key, doubt in still_open.items()
        ],
        decided_holds=[hold_of(evidence, each.hold_id, each.doubt, each.answer) for each in taken],
    )


def _asked(
    evidence: UnitEvidence, spec: Spec, end: LifeEnd, taken: Sequence[_Answered]
) -> dict[str, Doubt]:
    """Questions about a life settled so far, by hold. The order is asked about once."""
    doubts = doubts_of(evidence, spec, end)
    if any(each.doubt.name == _ORDER for each in taken):
        doubts = [doubt for doubt in doubts if doubt.name != _ORDER]
    return dict(zip(hold_ids(evidence.unit_id, doubts), doubts, strict=True))


def _answered(known: Mapping[str, Doubt], answers: Answers) -> list[_Answered]:
    return [
        _Answered(hold_id=hold_id, doubt=doubt, answer=answers[hold_id])
        for hold_id, doubt in known.items()
        if hold_id in answers
    ]


def _newly_answered(
    evidence: UnitEvidence,
    spec: Spec,
    end: LifeEnd,
    answers: Answers,
    taken: Sequence[_Answered],
) -> list[_Answered]:
    """Answers that are still to be taken; those about cycles and about rows have their turn."""
    done = {each.hold_id for each in taken}
    if not answers.keys() - done:
        return []
    return [
        each
        for each in _answered(_asked(evidence, spec, end, taken), answers)
        if each.hold_id not in done and each.doubt.name not in (*_FIRST, *_OF_CYCLES)
    ]


def _read_from(
    name: str, evidence: UnitEvidence, spec: Spec, answers: Answers
) -> tuple[UnitEvidence, list[_Answered]]:
    """The evidence without what a signed answer says is not true, and that answer."""
    if not answers:
        return evidence, []
    known = _asked(evidence, spec, as_it_stands(evidence, spec), [])
    answered = [each for each in _answered(known, answers) if each.doubt.name == name]
    for each in answered:
        evidence = _CHOOSE[name](evidence, spec, each)
    return evidence, answered


def _with_true_pressures(evidence: UnitEvidence, spec: Spec, signed: _Answered) -> UnitEvidence:
    """The readings, where the record was signed to be wrong; else nobody asks again."""
    if signed.answer.choice == "BEST" and evidence.as_read is not None:
        return evidence.as_read
    return structs.replace(evidence, as_read=None)


def _with_true_rows(evidence: UnitEvidence, spec: Spec, signed: _Answered) -> UnitEvidence:
    first, other = evidence.kindest, evidence.harshest
    if signed.answer.choice == "WORST":
        first, other = other, first
    true = first if end_of_life(evidence, first, spec) == signed.chosen else other
    return structs.replace(
        evidence, stretches=true, kindest=[], harshest=[], conflicts=[], by_clock=[]
    )


def _with_true_source(evidence: UnitEvidence, spec: Spec, signed: _Answered) -> UnitEvidence:
    """Rows, or one declared life. Rows that were not chosen ask nothing about the unit."""
    if evidence.stretches and end_of_life(evidence, evidence.stretches, spec) == signed.chosen:
        return structs.replace(evidence, declared=[])
    true = [
        each
        for each in evidence.declared
        if end_of_declared(each, spec, evidence.analyses) == signed.chosen
    ]
    return structs.replace(
        evidence,
        declared=true[:1],
        stretches=[],
        kindest=[],
        harshest=[],
        conflicts=[],
        by_clock=[],
        identity_conflicts=[],
        low_fluid_stops=[],
        events=[],
        as_read=None,
        sensor_corrections={},
    )


_CHOOSE: Mapping[str, Callable[[UnitEvidence, Spec, _Answered], UnitEvidence]] = {
    FOUND_OUT: _with_true_pressures,
    _ROWS: _with_true_rows,
    _SOURCE: _with_true_source,
}
"""How each of the first questions chooses what is read once it is answered."""


def _is_another_life(signed: _Answered, end: LifeEnd) -> bool:
    """Whether an answer replaces the life: another order, or a best that is not as it stands."""
    is_best = signed.answer.choice == "BEST"
    return signed.doubt.name == _ORDER or (is_best and signed.chosen != end)


def _worst_signed(
    end: LifeEnd, signed: Sequence[_Answered], stretches: Sequence[StretchSummary]
) -> LifeEnd:
    """The worst of the life as it stands and of what was signed to have happened to it."""
    for each in signed:
        if each.answer.choice == "WORST":
            end = either(end, _with_tally(each.chosen, stretches))[1]
    return end


def _with_tally(end: LifeEnd, stretches: Sequence[StretchSummary]) -> LifeEnd:
    """A failure that was signed, with what the stretches up to it tell of how it was tested."""
    if not end.failed or end.up_to != CycleTally():
        return end
    lived = up_to_logged(stretches, end.at_logged)
    return structs.replace(end, up_to=tally_before(lived, len(lived)))


def _extremes(
    evidence: UnitEvidence,
    spec: Spec,
    end: LifeEnd,
    still_open: Iterable[Doubt],
    taken: Sequence[_Answered],
) -> tuple[LifeEnd, LifeEnd]:
    """
    Both ends of what is open, on a life that was settled.

    Cycles that were signed not to count are left in doubt here, so that the worst end
    takes them off together with the others and none twice. A condition without a record
    is always in doubt, unless it was signed to be met.
    """
    of_cycles = [each for each in taken if each.doubt.name in _OF_CYCLES]
    asked = [*still_open]
    asked += [
        each.doubt
        for each in of_cycles
        if each.doubt.name in (_CLIPPED, _UNSURE) and each.answer.choice == "WORST"
    ]
    met = _choice(_NOT_RECORDED, of_cycles) == "BEST"
    best, worst = extremes(
        _all_recorded(evidence) if met else evidence,
        spec,
        end,
        asked,
        answered=[each.doubt for each in taken],
    )
    return _as_signed(best, evidence, spec, of_cycles), _raised(worst, evidence, spec, of_cycles)


def _as_signed(
    end: LifeEnd, evidence: UnitEvidence, spec: Spec, of_cycles: Sequence[_Answered]
) -> LifeEnd:
    """The same end with the cycles counted, and not counted, that were signed for."""
    absent = _choice(_NOT_RECORDED, of_cycles) == "WORST"
    clipped = _choice(_CLIPPED, of_cycles) == "WORST"
    unsure = unsure_cycles(spec) if _choice(_UNSURE, of_cycles) == "WORST" else None

    def not_counted(stretch: StretchSummary) -> int:
        doubted = absent * absent_cycles(stretch) + clipped * clipped_cycles(stretch)
        return doubted + (unsure(stretch) if unsure else 0)

    raised = _raised(end, evidence, spec, of_cycles)
    return without_cycles(raised, evidence.stretches, spec, not_counted)


def _raised(
    end: LifeEnd, evidence: UnitEvidence, spec: Spec, of_cycles: Sequence[_Answered]
) -> LifeEnd:
    """With single cells met, where that was signed: the cycles count that lack nothing else."""
    gained = any(
        each.answer.choice == "BEST" and _has_share(each.doubt)
        for each in of_cycles
        if each.doubt.name == _NOT_RECORDED
    )
    return with_unrecorded(end, evidence.stretches, spec) if gained else end


def _has_share(doubt: Doubt) -> bool:
    """Whether single cells, and not only whole columns, are in question."""
    return any(each.quantity == "not_recorded_share" for each in doubt.evidence)


def _doubt_as_signed(
    doubt: Doubt, evidence: UnitEvidence, spec: Spec, of_cycles: Sequence[_Answered]
) -> Doubt:
    return structs.replace(
        doubt,
        best=_as_signed(doubt.best, evidence, spec, of_cycles),
        worst=_as_signed(doubt.worst, evidence, spec, of_cycles),
    )


def _choice(name: str, answered: Sequence[_Answered]) -> HoldChoice | None:
    chosen = (each.answer.choice for each in answered if each.doubt.name == name)
    return next(chosen, None)


def _all_recorded(evidence: UnitEvidence) -> UnitEvidence:
    """The evidence with every condition recorded, as it was signed."""

    def recorded(stretches: Sequence[StretchSummary]) -> list[StretchSummary]:
        return [structs.replace(each, condition_absent_cycles=0) for each in stretches]

    return structs.replace(
        evidence,
        stretches=recorded(evidence.stretches),
        kindest=recorded(evidence.kindest),
        harshest=recorded(evidence.harshest),
    )
