"""Where a plan ends: from when it accepts a number of failures, up to when it refuses it."""

import math
from functools import lru_cache

from analysis.decision.attribute import log_reliability_at_planned, reliability_at_planned
from analysis.decision.terms import Terms
from analysis.errors import OutsideDomainError
from analysis.statistics.anytime_evidence import PRIORS
from analysis.statistics.anytime_finite_lot import anytime_lot_stops
from analysis.statistics.anytime_risks import anytime_count_stops, anytime_stops
from analysis.statistics.sequential_exact import truncated_counted_plan, truncated_timed_plan
from analysis.statistics.sequential_lines import sequential_lines, sequential_time_lines
from analysis.statistics.two_stage import second_stage_lives, two_stage_counts, two_stage_lives
from analysis.statistics.weibayes import target_lives_required
from schemas.anytime import PriorDensity
from schemas.plan_kinds import AnytimeLimits, SecondStage, SequentialLimits
from schemas.test_plans import CountedStops, TimedStops


def stops_in_target_lives(terms: Terms) -> TimedStops:
    """
    Stops of a plan that adds up target lives.

    Parameters
    ----------
    terms : Terms
        Of a plan with `adds_target_lives`.

    Returns
    -------
    TimedStops
        In target lives. Failure ``len(accept_totals)`` refuses whenever it comes.

    Raises
    ------
    OutsideDomainError
        If the plan cannot be made of these numbers, such as a cap that never accepts.
    """
    return _lives_stops(
        terms.reliability,
        terms.confidence,
        terms.allowed_failures,
        terms.second_stage or terms.sequential or terms.anytime,
    )


def stops_in_units(terms: Terms) -> CountedStops:
    """
    Stops of a plan that counts units, at the reliability required at the planned cycles.

    Parameters
    ----------
    terms : Terms
        Of a TWO_STAGE, SEQUENTIAL or ANYTIME plan without credit.

    Returns
    -------
    CountedStops
        After each unit in the order of the plan's places.

    Raises
    ------
    OutsideDomainError
        If the plan cannot be made of these numbers.
    """
    return _count_stops(
        reliability_at_planned(terms, hardest=True),
        terms.confidence,
        (terms.unit_count, terms.max_units, terms.allowed_failures, terms.lot_size),
        _good_at_planned(terms),
        terms.second_stage or terms.sequential or terms.anytime,
    )


def prior_of(limits: AnytimeLimits) -> PriorDensity:
    """The density that a plan names."""
    return PRIORS[limits.prior]


def _good_at_planned(terms: Terms) -> float:
    """The good level of a sequential plan at the planned cycles; 0 where there is none."""
    if terms.sequential is None:
        return 0.0
    # A power of the reliability: the same one that carries the requirement to that count.
    power = log_reliability_at_planned(terms, hardest=True) / math.log(terms.reliability)
    return math.exp(power * math.log(terms.sequential.good_reliability))


_Limits = SecondStage | SequentialLimits | AnytimeLimits | None


@lru_cache(maxsize=256)
def _lives_stops(
    reliability: float, confidence: float, allowed: int, limits: _Limits
) -> TimedStops:
    if isinstance(limits, SecondStage):
        return _two_stages_of_lives(reliability, confidence, allowed, limits)
    if isinstance(limits, SequentialLimits):
        rate = -math.log(reliability)
        lines = sequential_time_lines(
            -1.0 / math.log(limits.good_reliability),
            1.0 / rate,
            shape=1.0,
            producer_risk=limits.producer_risk,
            consumer_risk=limits.consumer_risk,
        )
        last = _stated("last_target_lives", limits.last_target_lives)
        return truncated_timed_plan(lines, last, allowed_failures=allowed)
    if isinstance(limits, AnytimeLimits):
        return _anytime_lives(reliability, confidence, allowed, limits)
    required = target_lives_required(reliability, confidence, allowed_failures=allowed)
    return TimedStops(
        accept_totals=(required,) * (allowed + 1), reject_totals={allowed + 1: required}
    )


def _two_stages_of_lives(
    reliability: float, confidence: float, allowed: int, limits: SecondStage
) -> TimedStops:
    first = _stated("first_target_lives", limits.first_target_lives)
    second = second_stage_lives(
        first,
        first_allowed=allowed,
        second_allowed=limits.allowed_failures,
        reliability=reliability,
        confidence=confidence,
    )
    return two_stage_lives(
        first, second, first_allowed=allowed, second_allowed=limits.allowed_failures
    )


def _anytime_lives(
    reliability: float, confidence: float, allowed: int, limits: AnytimeLimits
) -> TimedStops:
    """Stops up to the failures that the plan allows, where its cap lets it get so far."""
    plan = anytime_stops(
        reliability=reliability,
        confidence=confidence,
        prior=prior_of(limits),
        most_failures=allowed,
        cap_target_lives=limits.cap_target_lives,
        give_up_evidence=limits.give_up_evidence,
    )
    return plan.stops


@lru_cache(maxsize=256)
def _count_stops(
    reliability: float,
    confidence: float,
    counts: tuple[int, int, int, int | None],
    good: float,
    limits: _Limits,
) -> CountedStops:
    unit_count, most_units, allowed, lot_size = counts
    if isinstance(limits, SecondStage):
        added = int(_stated("unit_count", limits.unit_count))
        return two_stage_counts(
            unit_count, added, first_allowed=allowed, second_allowed=limits.allowed_failures
        )
    if isinstance(limits, SequentialLimits):
        lines = sequential_lines(
            good,
            reliability,
            producer_risk=limits.producer_risk,
            consumer_risk=limits.consumer_risk,
        )
        return truncated_counted_plan(lines, most_units, allowed_failures=allowed)
    if isinstance(limits, AnytimeLimits) and lot_size is not None:
        return anytime_lot_stops(
            lot_size=lot_size,
            reliability=reliability,
            confidence=confidence,
            prior=prior_of(limits),
            most_units=min(most_units, lot_size),
            most_failures=allowed,
        )
    if isinstance(limits, AnytimeLimits):
        return anytime_count_stops(
            reliability=reliability,
            confidence=confidence,
            prior=prior_of(limits),
            most_units=most_units,
            most_failures=allowed,
        )
    raise OutsideDomainError("kind", "ATTRIBUTE", "a plan with stops after each unit")


def _stated(name: str, value: float | None) -> float:
    if value is None:
        raise OutsideDomainError(name, None, "stated for this kind of plan")
    return value
