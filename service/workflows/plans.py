"""Planning: units and cycles for a demonstration that has not begun."""

from msgspec import UNSET

from analysis.statistics.duration import (
    cycles_for_units,
    life_ratio_for_units,
    units_for_life_ratio,
)
from analysis.statistics.finite_lot import finite_lot_plan, nonconforming_upper
from analysis.statistics.success_run import success_run_plan
from analysis.statistics.weibayes import target_lives_required
from schemas.estimates import SuccessRunPlan
from schemas.plans import (
    FiniteLotAnswer,
    FiniteLotQuestion,
    LengthOfTest,
    WeibayesPlan,
    WeibayesQuestion,
)
from schemas.problems import ProblemError
from service.errors import InvalidRequest


def plan_success_run(
    reliability: float, confidence: float, *, allowed_failures: int
) -> SuccessRunPlan:
    """
    Fewest units, each run to the target once, that demonstrate a reliability.

    Raises
    ------
    OutsideDomainError
        If a fraction is not strictly between 0 and 1 or the count is negative.
    """
    return success_run_plan(reliability, confidence, allowed_failures=allowed_failures)


def plan_weibayes(question: WeibayesQuestion) -> WeibayesPlan:
    """
    Units for given cycles, or cycles for given units, at the shape that asks most.

    Parameters
    ----------
    question : WeibayesQuestion
        What is to be shown, and exactly one of units and cycles.

    Returns
    -------
    WeibayesPlan

    Raises
    ------
    InvalidRequest
        If not exactly one of units and cycles is given, or the shapes are not
        in order.
    OutsideDomainError
        If a figure is outside its range, for example no more units than may fail.

    Notes
    -----
    For fixed units the cycles, and for fixed cycles the units, rise or fall
    steadily with the shape, so the worst shape is one of the two ends.
    """
    _check(question)
    at_ends = [_lengths_at(question, shape) for shape in (question.shape_low, question.shape_high)]
    binomial, poisson = (max(form, key=_effort) for form in zip(*at_ends, strict=True))
    assumed = question.assumed_shape
    at_assumed = _lengths_at(question, assumed) if assumed is not None else (UNSET, UNSET)
    return WeibayesPlan(
        reliability=question.reliability,
        confidence=question.confidence,
        target_cycles=question.target_cycles,
        allowed_failures=question.allowed_failures,
        shape_low=question.shape_low,
        shape_high=question.shape_high,
        target_lives_required=target_lives_required(
            question.reliability, question.confidence, allowed_failures=question.allowed_failures
        ),
        binomial=binomial,
        poisson=poisson,
        binomial_at_assumed_shape=at_assumed[0],
        poisson_at_assumed_shape=at_assumed[1],
    )


def plan_finite_lot(question: FiniteLotQuestion) -> FiniteLotAnswer:
    """
    Units to test from a lot of known size, or what a finished sample of it shows.

    Parameters
    ----------
    question : FiniteLotQuestion
        One of its two pairs, whole.

    Returns
    -------
    FiniteLotAnswer

    Raises
    ------
    InvalidRequest
        If not exactly one pair is given.
    OutsideDomainError
        If a count is outside its range, for example more units than the lot has.
    """
    pairs = (
        (question.max_nonconforming, question.allowed_failures),
        (question.unit_count, question.failure_count),
    )
    if sorted(pair.count(None) for pair in pairs) != [0, 2]:
        detail = (
            "Give max_nonconforming and allowed_failures for a plan, or unit_count and "
            "failure_count for a finished sample; not parts of both."
        )
        error = ProblemError(code="EXACTLY_ONE", detail=detail, parameter="max_nonconforming")
        raise InvalidRequest([error])
    if question.max_nonconforming is not None and question.allowed_failures is not None:
        plan = finite_lot_plan(
            question.lot_size,
            max_nonconforming=question.max_nonconforming,
            confidence=question.confidence,
            allowed_failures=question.allowed_failures,
        )
        return FiniteLotAnswer(
            lot_size=question.lot_size, confidence=question.confidence, plan=plan
        )
    bound = nonconforming_upper(
        question.lot_size,
        question.unit_count or 0,
        question.failure_count or 0,
        confidence=question.confidence,
    )
    return FiniteLotAnswer(lot_size=question.lot_size, confidence=question.confidence, bound=bound)


def _check(question: WeibayesQuestion) -> None:
    if (question.unit_count is None) == (question.cycles_per_unit is None):
        detail = "Give exactly one of unit_count and cycles_per_unit; the other is the answer."
        raise InvalidRequest(
            [ProblemError(code="EXACTLY_ONE", detail=detail, parameter="unit_count")]
        )
    if question.shape_low > question.shape_high:
        detail = "shape_low must not be above shape_high."
        raise InvalidRequest(
            [ProblemError(code="RANGE_REVERSED", detail=detail, parameter="shape_low")]
        )
    assumed = question.assumed_shape
    if assumed is not None and not question.shape_low <= assumed <= question.shape_high:
        detail = "assumed_shape must lie between shape_low and shape_high."
        raise InvalidRequest(
            [ProblemError(code="OUTSIDE_RANGE", detail=detail, parameter="assumed_shape")]
        )


def _effort(length: LengthOfTest) -> tuple[int, int]:
    return length.unit_count, length.cycles_per_unit


def _lengths_at(question: WeibayesQuestion, shape: float) -> tuple[LengthOfTest, LengthOfTest]:
    """Binomial and Poisson form at one shape."""
    if question.unit_count is not None:
        return _cycles_at(question, question.unit_count, shape)
    return _units_at(question, question.cycles_per_unit or 0, shape)


def _cycles_at(
    question: WeibayesQuestion, unit_count: int, shape: float
) -> tuple[LengthOfTest, LengthOfTest]:
    ratio = life_ratio_for_units(
        question.reliability,
        question.confidence,
        unit_count=unit_count,
        shape=shape,
        allowed_failures=question.allowed_failures,
    )
    cycles = cycles_for_units(ratio, question.target_cycles)
    binomial, poisson = (
        LengthOfTest(shape=shape, unit_count=unit_count, cycles_per_unit=each)
        for each in (cycles.cycles_binomial, cycles.cycles_poisson)
    )
    return binomial, poisson


def _units_at(
    question: WeibayesQuestion, cycles_per_unit: int, shape: float
) -> tuple[LengthOfTest, LengthOfTest]:
    plan = units_for_life_ratio(
        question.reliability,
        question.confidence,
        life_ratio=cycles_per_unit / question.target_cycles,
        shape=shape,
        allowed_failures=question.allowed_failures,
    )
    binomial, poisson = (
        LengthOfTest(shape=shape, unit_count=units, cycles_per_unit=cycles_per_unit)
        for units in (plan.unit_count_binomial, plan.unit_count_poisson)
    )
    return binomial, poisson
