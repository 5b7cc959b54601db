"""Figures in the catalogue's sentences: headline, argument, reasons, ways to finish."""

from __future__ import annotations

from msgspec import UNSET

from schemas.decisions import (
    AttributeView,
    Evaluation,
    Evidence,
    Reason,
    RequirementResult,
    WayToFinish,
    WeibayesView,
)
from schemas.specs import ShapeAssumption, Spec
from service.pages import units, wording
from service.pages.units import PressureUnit, counted
from service.pages.wording import say

_UNDECIDED = ("CONTINUE", "HOLD")
MOST_SERIALS = 12
"""A sentence names at most this many units; the unit table has them all."""


def verdict_words(verdict: str, kind: object) -> str:
    """
    Headline of a verdict; a refusal reads as its kind.

    Examples
    --------
    >>> verdict_words("REJECT", "NOT_DEMONSTRATED")
    'Not accepted: not demonstrated'
    """
    if verdict == "REJECT" and isinstance(kind, str):
        return say(wording.REFUSALS, kind)
    return say(wording.VERDICTS, verdict)


def lot_words(evaluation: Evaluation) -> str:
    """Verdict of a lot in words; a hold says what it waits for."""
    if evaluation.verdict == "HOLD" and evaluation.reasons:
        first = evaluation.reasons[0].code
        return wording.HOLDS_BY_REASON.get(first, say(wording.VERDICTS, "HOLD"))
    return verdict_words(evaluation.verdict, evaluation.kind)


def headline(evaluation: Evaluation) -> str:
    """Verdict of a lot with the specification that it is under."""
    words = lot_words(evaluation)
    if evaluation.verdict == "ACCEPT" and evaluation.spec is not UNSET:
        return f"{words} under {evaluation.spec.spec_id} v{evaluation.spec.version}"
    return words


def meanings(evaluation: Evaluation) -> list[str]:
    """What the verdict tells a person; both kinds of refusal read differently."""
    codes = {reason.code for reason in evaluation.reasons}
    said = [wording.CRITICAL] if "CRITICAL_FAILURE" in codes else []
    key = str(evaluation.kind if evaluation.verdict == "REJECT" else evaluation.verdict)
    if key == "HOLD" and "OPEN_HOLDS" not in codes:
        return said
    if key == "NOT_DEMONSTRATED" and said:
        return said
    return [*said, wording.MEANINGS[key]] if key in wording.MEANINGS else said


def argument(
    evaluation: Evaluation,
    result: RequirementResult,
    *,
    spec: Spec | None,
    unit: PressureUnit,
) -> str:
    """
    The argument for one requirement in a few sentences that may be quoted as they stand.

    Parameters
    ----------
    evaluation : Evaluation
        The lot's evaluation.
    result : RequirementResult
        One of its requirements.
    spec : Spec or None, keyword only
        The specification, for the pressure and the source of the shape.
    unit : {"mpa", "bar", "psi"}, keyword only
        The reader's unit of pressure.
    """
    sentences = [_what_was_seen(evaluation, spec, unit), _what_is_shown(result, spec)]
    if result.verdict == "REJECT":
        sentences.append(_upper_limit_sentence(result))
    if result.verdict == "CONTINUE":
        sentences.append(wording.PROGRESS_ONLY)
    return " ".join([*sentences, _verdict_sentence(evaluation, result), wording.APPLIES])


def against(result: RequirementResult) -> str:
    """How the limits stand to the requirement, for the box under the argument."""
    lower, upper = _limits(result)
    _, required = _bar(result)
    return (
        f"Lower limit {lower}, upper limit {upper} (each one-sided, "
        f"{units.percent_text(result.confidence)} confidence); required: {required}."
    )


def _limits(result: RequirementResult) -> tuple[str, str]:
    """Both limits of the deciding view, rounded to their careful sides."""
    view = deciding_view(result)
    bar, _ = _bar(result)
    if isinstance(view, WeibayesView):
        lower, upper = view.reliability_lower_worst, view.reliability_upper_largest
    else:
        lower, upper = view.reliability_lower_of_decided, view.reliability_upper
    return units.lower_limit_text(lower), units.upper_limit_text(upper, required=bar)


def _bar(result: RequirementResult) -> tuple[float, str]:
    """What the limits are held against: the requirement, or its equal at planned cycles."""
    view = deciding_view(result)
    if isinstance(view, AttributeView) and view.reliability_required is not UNSET:
        required = view.reliability_required
        cycles = units.count_text(view.at_cycles)
        return required, f"{units.requirement_text(required)} at {cycles} cycles"
    return result.reliability, units.fraction_text(result.reliability)


def _upper_limit_sentence(result: RequirementResult) -> str:
    """What tells the two kinds of refusal apart."""
    _, upper = _limits(result)
    bar, required = _bar(result)
    side = "below" if float(upper) < bar else "not below"
    return (
        f"The upper limit, {upper} with {units.percent_text(result.confidence)} confidence, "
        f"is {side} the required {required}."
    )


def deciding_view(result: RequirementResult) -> WeibayesView | AttributeView:
    """The view that the plan decides by."""
    if result.variables is not UNSET and result.plan.target_lives is not UNSET:
        return result.variables
    if result.attribute_at_planned is not UNSET:
        return result.attribute_at_planned
    return result.attribute_at_target


def _what_was_seen(evaluation: Evaluation, spec: Spec | None, unit: PressureUnit) -> str:
    """Lot, specification, units, cycles, pressure, failures."""
    evidence: Evidence = evaluation.evidence
    name = f"Lot {evaluation.lot_number}"
    if evaluation.spec is not UNSET:
        name += f", spec {evaluation.spec.spec_id} v{evaluation.spec.version}"
    cycles = f"{units.count_text(evidence.counted_cycles)} counted cycles"
    if evidence.credited_cycles != evidence.counted_cycles:
        cycles += f" ({units.count_text(evidence.credited_cycles)} credited)"
    failures = counted(evidence.failure_count, "relevant failure", "relevant failures")
    after = sum(line.after_credit for line in evaluation.units)
    if after:
        failures += f" ({units.count_text(after)} after the credited cycles, not counted)"
    pressure = f" at {test_pressure(spec, unit)}" if spec is not None else ""
    unit_count = counted(evidence.unit_count, "unit", "units")
    return f"{name}: {unit_count}, {cycles}{pressure}, {failures}."


def test_pressure(spec: Spec, unit: PressureUnit) -> str:
    """Commanded upper pressure, or the band where the specification commands none."""
    conditions = spec.conditions
    if conditions.pressure_set_mpa is not None:
        return units.pressure_both_text(conditions.pressure_set_mpa, unit)
    lower = units.pressure_both_text(conditions.pressure_lower_mpa, unit)
    return f"{lower} to {units.pressure_both_text(conditions.pressure_upper_mpa, unit)}"


def _what_is_shown(result: RequirementResult, spec: Spec | None) -> str:
    """The lower limit, what it assumes, and the worst shape where it is another."""
    view = deciding_view(result)
    if isinstance(view, AttributeView):
        return attribute_sentence(view, result)
    shape = spec.shape if spec is not None else None
    if result.plan.credit == "ONCE_AT_TARGET":
        claim = _claim(result, view.at_cycles, view.reliability_lower_worst)
        return f"{claim}, each unit credited once, at the target."
    if shape is None:
        claim = _claim(result, view.at_cycles, view.reliability_lower_worst)
        return f"{claim}, assuming Weibull shape β = {units.shape_text(view.worst_shape)}."
    claim = _claim(result, view.at_cycles, view.reliability_lower_at_assumed)
    first = (
        f"{claim}, assuming Weibull shape β = {units.shape_text(shape.assumed_shape)} "
        f"(source: {shape.source}) and one population."
    )
    return f"{first} {_worst_shape(view, shape)}".strip()


def _claim(result: RequirementResult, at_cycles: int, lower: float) -> str:
    """What a lower limit says: a statement once the plan has ended, a state before that."""
    cycles, limit = units.count_text(at_cycles), units.lower_limit_text(lower)
    confidence = units.percent_text(result.confidence)
    if result.verdict in _UNDECIDED:
        return (
            f"The lower limit of reliability at {cycles} cycles stands at {limit} "
            f"({confidence} confidence)"
        )
    return f"Reliability at {cycles} cycles is at least {limit} with {confidence} confidence"


def _worst_shape(view: WeibayesView, shape: ShapeAssumption) -> str:
    """The range decides by its worst case; shapes outside it are named for comparison."""
    sentences = []
    if shape.shape_low != shape.shape_high:
        at = "also " if view.worst_shape == shape.assumed_shape else ""
        sentences.append(
            f"The worst shape of the range {units.shape_text(shape.shape_low)} to "
            f"{units.shape_text(shape.shape_high)} decides: it is {at}"
            f"{units.shape_text(view.worst_shape)}, with at least "
            f"{units.lower_limit_text(view.reliability_lower_worst)}."
        )
    outside = [
        f"{units.lower_limit_text(row.reliability_lower)} at β = {units.shape_text(row.shape)}"
        for row in view.by_shape
        if row.outside_range
    ]
    if outside:
        sentences.append(f"For comparison only: {', '.join(outside)}.")
    return " ".join(sentences)


def attribute_sentence(view: AttributeView, result: RequirementResult) -> str:
    """What the decided units show at a count, with no life distribution assumed."""
    decided = counted(view.decided_count, "unit", "units")
    failed = "none failed" if view.failure_count == 0 else f"{view.failure_count} failed"
    claim = _claim(result, view.at_cycles, view.reliability_lower_of_decided)
    return (
        f"Of {decided} decided at {units.count_text(view.at_cycles)} cycles, {failed}. "
        f"{claim}, whatever the life distribution."
    )


def _verdict_sentence(evaluation: Evaluation, result: RequirementResult) -> str:
    """Verdict of the requirement, under which specification; of several, that it is one."""
    words = verdict_words(result.verdict, result.kind).replace(": ", ", ")
    words = words[0].lower() + words[1:]
    if evaluation.spec is UNSET:
        return f"Verdict: {words}."
    under = f"under {evaluation.spec.spec_id} v{evaluation.spec.version}"
    if len(evaluation.requirements) > 1:
        return f"This requirement alone, {under}: {words}; a lot must meet all of them."
    return f"Verdict {under}: {words}."


def requirement_sentence(result: RequirementResult) -> str:
    """What the specification asks for."""
    return (
        f"Required: reliability of at least {units.fraction_text(result.reliability)} at "
        f"{units.count_text(result.target_cycles)} cycles, to be shown with "
        f"{units.percent_text(result.confidence)} one-sided confidence."
    )


def plan_sentence(result: RequirementResult) -> str:
    """The plan and how far it has come."""
    plan = result.plan
    sentence = (
        f"{counted(plan.unit_count, 'unit', 'units')} to {units.count_text(plan.planned_cycles)} "
        f"cycles each, acceptance number {plan.allowed_failures}"
    )
    if plan.max_units != plan.unit_count:
        sentence += f", at most {plan.max_units} units"
    if plan.target_lives is not UNSET and plan.target_lives_required is not UNSET:
        have, need = units.compared_text(plan.target_lives, plan.target_lives_required)
        sentence += f"; target lives at the worst shape: {have} of {need} needed"
    return f"{sentence}."


def risk_sentence(confidence: float) -> str:
    """What 1 - C is, and what it is not."""
    return wording.REQUIREMENT_RISK.format(risk=units.percent_text(units.rest_of_one(confidence)))


def reason_sentence(reason: Reason) -> str:
    """
    Sentence of a reason, with its figures where it carries all of them.

    Examples
    --------
    >>> reason_sentence(
    ...     Reason(code="ALLOWED_FAILURES_EXCEEDED", failure_count=1, allowed_failures=0)
    ... )
    'Relevant failures: 1; acceptance number of the plan: 0.'
    >>> reason_sentence(Reason(code="NO_DATA"))
    'No cycles have been received for this lot.'
    """
    figures = _figures(reason)
    for sentence in wording.REASONS.get(reason.code, ()):
        try:
            return sentence.format_map(figures)
        except KeyError:
            continue
    return say({}, reason.code)


def _figures(reason: Reason) -> dict[str, str]:
    """The figures that a reason carries, as text."""
    figures: dict[str, str] = {}
    for name in ("failure_count", "allowed_failures", "unit_count"):
        value = getattr(reason, name)
        if value is not UNSET:
            figures[name] = units.count_text(value)
    if reason.target_lives is not UNSET and reason.target_lives_required is not UNSET:
        pair = units.compared_text(reason.target_lives, reason.target_lives_required)
        figures["target_lives"], figures["target_lives_required"] = pair
    if reason.reliability_upper is not UNSET and reason.reliability_required is not UNSET:
        figures["reliability_required"] = units.requirement_text(reason.reliability_required)
        figures["reliability_upper"] = units.upper_limit_text(
            reason.reliability_upper, required=reason.reliability_required
        )
    if reason.unit_serials is not UNSET and reason.unit_serials:
        figures["unit_serials"] = serials_text(reason.unit_serials)
    return figures


def serials_text(serials: list[str]) -> str:
    """Names of units; of many, the first few and how many more."""
    if len(serials) <= MOST_SERIALS:
        return ", ".join(serials)
    return f"{', '.join(serials[:MOST_SERIALS])} and {len(serials) - MOST_SERIALS:,} more"


def way_figures(way: WayToFinish) -> str:
    """
    Units, cycles and failures of one way to finish; only what it states.

    Examples
    --------
    >>> way_figures(WayToFinish(kind="ADD_UNITS", unit_count=4, cycles_each=200_000))
    '4 units to 200,000 cycles each'
    >>> way_figures(
    ...     WayToFinish(kind="FINISH_DECLARED_UNITS", unit_count=4, cycles_each=80_000)
    ... )
    '4 units, up to 80,000 more cycles each'
    """
    parts: list[str] = []
    if way.unit_count is not UNSET:
        parts.append(counted(way.unit_count, "unit", "units"))
    if way.cycles_each is not UNSET:
        parts.append(_cycles_each(way.kind, way.cycles_each))
    more = ["".join(parts)] if parts else []
    if way.cycles_in_all is not UNSET:
        more.append(f"{units.count_text(way.cycles_in_all)} cycles in all")
    if way.target_lives_missing is not UNSET:
        missing = units.missing_lives_text(way.target_lives_missing)
        more.append(f"{missing} target lives are missing now")
    if way.allowed_failures is not UNSET:
        more.append(f"acceptance number {way.allowed_failures}")
    if way.unit_serials is not UNSET and way.unit_serials:
        more.append(serials_text(way.unit_serials))
    return "; ".join(more)


def _cycles_each(kind: str, cycles: int) -> str:
    """Declared units have cycles behind them, so what they still run is said as such."""
    if kind == "FINISH_DECLARED_UNITS":
        return f", up to {units.count_text(cycles)} more cycles each"
    return f" to {units.count_text(cycles)} cycles each"


def short_figure(result: RequirementResult) -> str:
    """The lower limit that decides, short enough for the list of lots."""
    view = deciding_view(result)
    if isinstance(view, WeibayesView):
        lower = view.reliability_lower_worst
    elif view.decided_count == 0:
        return "nothing decided yet"
    else:
        lower = view.reliability_lower_of_decided
    return (
        f"{units.lower_limit_text(lower)} at {units.count_text(view.at_cycles)} cycles "
        f"({units.percent_text(result.confidence)})"
    )
