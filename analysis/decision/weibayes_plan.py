"""Plans that add up target lives: where a lot stands, and the variables view of it."""

import math
from collections.abc import Sequence

from msgspec import Struct

from analysis.decision.counting import CountedLives, counted_by_plan
from analysis.decision.plan_stops import prior_of, stops_in_target_lives
from analysis.decision.reasons import Standing
from analysis.decision.terms import Terms
from analysis.errors import OutsideDomainError
from analysis.statistics.anytime_below import anytime_upper_limit
from analysis.statistics.anytime_evidence import anytime_lower_limit
from analysis.statistics.shape_range import largest_target_lives, least_target_lives
from analysis.statistics.weibayes import (
    reaches_requirement,
    reliability_lower_from_target_lives,
    reliability_upper_from_target_lives,
    target_lives,
    target_lives_required,
)
from schemas.decisions import ShapeRow, WeibayesView
from schemas.estimates import ShapeExtreme
from schemas.lives import Outcome
from schemas.specs import ShapeAssumption

_BELOW_ASSUMED = 0.2
"""How far below the assumed shape a row for display lies: the error that often happens."""
_NO_WEAR = 1.0
"""The shape of a constant failure rate, shown beside the range: nothing wears out."""
_LEAST_SHAPE = 0.05


class Clock(Struct, frozen=True, kw_only=True):
    """Target lives of a lot at the worst shape of the range, and what is required of them."""

    least: ShapeExtreme
    required: float
    reliability_upper: float


def shape_of(terms: Terms) -> ShapeAssumption:
    """
    The shape range of a specification that must have one.

    Raises
    ------
    OutsideDomainError
        If it has none; such a specification cannot be approved.
    """
    if terms.shape is None:
        raise OutsideDomainError("shape", None, "given for a plan that adds up target lives")
    return terms.shape


def worst_target_lives(credited_cycles: Sequence[int], terms: Terms) -> ShapeExtreme:
    """Least sum of target lives of some credited cycles over the whole shape range."""
    shape = shape_of(terms)
    return least_target_lives(
        credited_cycles,
        terms.target_cycles,
        shape_low=shape.shape_low,
        shape_high=shape.shape_high,
    )


def required_target_lives(terms: Terms, failure_count: int) -> float:
    """
    Sum of target lives at which the plan accepts so many failures, fixed before the test.

    More failures than the plan allows are given the sum of as many as it does; a plan by
    counting the sum that a plan on target lives would ask for in its place.
    """
    if not terms.adds_target_lives:
        return target_lives_required(
            terms.reliability, terms.confidence, allowed_failures=terms.allowed_failures
        )
    totals = stops_in_target_lives(terms).accept_totals
    return totals[min(failure_count, len(totals) - 1)]


def read_clock(lives: CountedLives, terms: Terms) -> Clock:
    """
    Read the sum of target lives of a lot, and its upper limit, by caution.

    Parameters
    ----------
    lives : CountedLives
        The lot's cycles and failures.
    terms : Terms
        The requirement and its plan; a shape range is needed.

    Returns
    -------
    Clock

    Notes
    -----
    The least sum over the shape range decides acceptance. The upper limit takes the
    largest sum of the most cycles each unit may have lived, and the failures that are
    certain: ``exp(-chi2(1 - C; 2 r) / (2 S))``. An any-time plan takes the limits that
    hold at all looks together in place of both.
    """
    shape = shape_of(terms)
    upper = 1.0
    if lives.surely_failed_count:
        largest = largest_target_lives(
            lives.most_cycles,
            terms.target_cycles,
            shape_low=shape.shape_low,
            shape_high=shape.shape_high,
        )
        upper = _upper_limit(largest.target_lives, lives.surely_failed_count, terms)
    return Clock(
        least=worst_target_lives(lives.credited_cycles, terms),
        required=required_target_lives(terms, lives.failure_count),
        reliability_upper=upper,
    )


def stand_by_target_lives(outcomes: Sequence[Outcome], terms: Terms) -> Standing:
    """
    Where a lot stands in a plan that ends at a sum of target lives.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One per unit.
    terms : Terms
        The requirement and its plan; a shape range is needed.

    Returns
    -------
    Standing
    """
    lives = counted_by_plan(outcomes, terms)
    clock = read_clock(lives, terms)
    return Standing(
        failure_count=lives.failure_count,
        is_demonstrated=reaches_requirement(clock.least.target_lives, clock.required),
        reliability_upper=clock.reliability_upper,
        reliability_for_upper=terms.reliability,
        target_lives=clock.least.target_lives,
        target_lives_required=clock.required,
    )


def lower_limit(total: float, failure_count: int, terms: Terms) -> float:
    """Lower limit of one look, or of all looks together for a plan that is looked at always."""
    if terms.anytime is None:
        return reliability_lower_from_target_lives(
            total, failure_count, confidence=terms.confidence
        )
    if total <= 0.0:
        return 0.0
    return anytime_lower_limit(
        total, failure_count, confidence=terms.confidence, prior=prior_of(terms.anytime)
    )


def _upper_limit(total: float, failure_count: int, terms: Terms) -> float:
    """The same from above; 1 where so few failures limit nothing."""
    if terms.anytime is None:
        return reliability_upper_from_target_lives(
            total, failure_count, confidence=terms.confidence
        )
    limit = None
    if total > 0.0:
        limit = anytime_upper_limit(total, failure_count, confidence=terms.confidence)
    return 1.0 if limit is None else limit


def weibayes_view(outcomes: Sequence[Outcome], terms: Terms) -> WeibayesView:
    """
    Variables view of a lot: the limit at the worst shape, and at others beside it.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One per unit.
    terms : Terms
        The requirement and its plan; a shape range is needed. Cycles and failures
        are counted as the plan counts them, a plan by counting up to planned cycles.

    Returns
    -------
    WeibayesView
        Rows of shapes outside the range are for display and decide nothing.
    """
    shape = shape_of(terms)
    lives = counted_by_plan(outcomes, terms)
    clock = read_clock(lives, terms)
    rows = {value: _row(value, lives, terms) for value in _shapes_shown(shape, clock.least.shape)}
    worst, assumed = rows[clock.least.shape], rows[shape.assumed_shape]
    return WeibayesView(
        confidence=terms.confidence,
        at_cycles=terms.target_cycles,
        failure_count=lives.failure_count,
        target_lives_required=clock.required,
        target_lives_worst=clock.least.target_lives,
        worst_shape=clock.least.shape,
        target_lives_at_low=rows[shape.shape_low].target_lives,
        target_lives_at_high=rows[shape.shape_high].target_lives,
        target_lives_at_assumed=assumed.target_lives,
        reliability_lower_worst=worst.reliability_lower,
        reliability_lower_at_assumed=assumed.reliability_lower,
        reliability_upper_largest=clock.reliability_upper,
        by_shape=list(rows.values()),
        # Credited once, at the target, a unit is a pass or a failure whatever its life law.
        assumes="NO_LIFE_DISTRIBUTION" if terms.credit == "ONCE_AT_TARGET" else "ONE_POPULATION",
    )


def _shapes_shown(shape: ShapeAssumption, worst_shape: float) -> list[float]:
    """Shapes of the table in ascending order: range, worst case, and two for display."""
    lower = round(shape.assumed_shape - _BELOW_ASSUMED, 9)
    shown = {shape.shape_low, shape.assumed_shape, shape.shape_high, worst_shape, _NO_WEAR}
    if lower >= _LEAST_SHAPE and not any(math.isclose(lower, value) for value in shown):
        shown.add(lower)
    return sorted(shown)


def _row(value: float, lives: CountedLives, terms: Terms) -> ShapeRow:
    shape = shape_of(terms)
    total = target_lives(lives.credited_cycles, terms.target_cycles, shape=value)
    return ShapeRow(
        shape=value,
        target_lives=total,
        reliability_lower=lower_limit(total, lives.failure_count, terms),
        outside_range=not shape.shape_low <= value <= shape.shape_high,
    )
