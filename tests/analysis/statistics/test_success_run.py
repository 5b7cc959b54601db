"""References: exact rational binomial sums, and scipy.stats as a referee."""

import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.success_run import (
    confidence_shown,
    success_run_plan,
    units_required,
    units_required_at,
)

FRACTIONS = st.floats(0.02, 0.98)


def chance_of_passing(units: int, allowed: int, reliability: str) -> Fraction:
    """Exact binomial sum; the reliability is the decimal a person would write."""
    good = Fraction(reliability)
    return sum(
        (math.comb(units, k) * (1 - good) ** k * good ** (units - k) for k in range(allowed + 1)),
        Fraction(0),
    )


@pytest.mark.parametrize("allowed", [0, 1, 2, 5])
@pytest.mark.parametrize("confidence", ["0.5", "0.8", "0.9", "0.95", "0.99"])
@pytest.mark.parametrize("reliability", ["0.5", "0.8", "0.9", "0.95"])
def test_the_answer_meets_the_criterion_exactly_and_one_unit_less_does_not(
    reliability: str, confidence: str, allowed: int
) -> None:
    units = units_required(float(reliability), float(confidence), allowed_failures=allowed)
    risk = 1 - Fraction(confidence)
    assert chance_of_passing(units, allowed, reliability) <= risk
    assert units - 1 == allowed or chance_of_passing(units - 1, allowed, reliability) > risk


@pytest.mark.parametrize("reliability", ["0.1", "0.3", "0.5", "0.7", "0.8", "0.9", "0.99"])
@pytest.mark.parametrize("units", [1, 2, 3, 5, 8])
def test_a_confidence_exactly_on_the_boundary_needs_no_further_unit(
    reliability: str, units: int
) -> None:
    """R = 0.9 and C = 0.271 are 3 units in decimal arithmetic; a ceiling of floats says 4."""
    confidence = float(1 - Fraction(reliability) ** units)
    assert units_required(float(reliability), confidence, allowed_failures=0) == units


@pytest.mark.parametrize("allowed", [1, 2, 4])
@pytest.mark.parametrize("units", [6, 17, 60])
def test_a_boundary_with_allowed_failures_is_met_too(units: int, allowed: int) -> None:
    confidence = float(1 - chance_of_passing(units, allowed, "0.9"))
    assert units_required(0.9, confidence, allowed_failures=allowed) == units


@pytest.mark.parametrize("allowed", [0, 1, 3, 20])
def test_very_high_reliability_is_answered_right(allowed: int) -> None:
    """Reference: the sum over failures in logarithms, independent of any beta function."""

    def log_terms(units: int) -> float:
        return math.fsum(
            math.exp(
                math.lgamma(units + 1) - math.lgamma(k + 1) - math.lgamma(units - k + 1)
                + k * math.log(1 - 0.999999) + (units - k) * math.log1p(-(1 - 0.999999))
            )
            for k in range(allowed + 1)
        )  # fmt: skip

    units = units_required(0.999999, 0.9, allowed_failures=allowed)
    # lgamma loses about eight digits at this size: compare a few hundred units to each side.
    assert log_terms(units + 300) < 0.1 < log_terms(units - 300)


def test_the_zero_failure_answer_at_one_in_a_million_is_exact() -> None:
    units = units_required(0.999999, 0.9, allowed_failures=0)
    exact = Fraction(0.999999)  # the double itself
    assert units == 2_302_584
    assert units * math.log1p(-float(1 - exact)) <= math.log(0.1)
    assert (units - 1) * math.log1p(-float(1 - exact)) > math.log(0.1)


@settings(max_examples=60)
@given(FRACTIONS, FRACTIONS, st.integers(0, 12))
def test_the_answer_is_the_first_count_a_plain_walk_upwards_finds(
    reliability: float, confidence: float, allowed: int
) -> None:
    units = units_required(reliability, confidence, allowed_failures=allowed)
    walk = allowed + 1
    while stats.binom.cdf(allowed, walk, 1 - reliability) > (1 - confidence) * (1 + 1e-11):
        walk += 1
    assert units == walk


@given(FRACTIONS, FRACTIONS, st.integers(0, 12), st.floats(0.0, 0.015))
def test_asking_more_never_needs_fewer_units(
    reliability: float, confidence: float, allowed: int, more: float
) -> None:
    units = units_required(reliability, confidence, allowed_failures=allowed)
    assert units_required(reliability + more, confidence, allowed_failures=allowed) >= units
    assert units_required(reliability, confidence + more, allowed_failures=allowed) >= units
    assert units_required(reliability, confidence, allowed_failures=allowed + 1) > units


@given(st.integers(1, 400), st.data(), FRACTIONS)
def test_confidence_shown_agrees_with_the_binomial_distribution(
    units: int, data: st.DataObject, reliability: float
) -> None:
    failures = data.draw(st.integers(0, units))
    referee = stats.binom.sf(failures, units, 1 - reliability)
    actual = confidence_shown(units, failures, reliability)
    assert actual == pytest.approx(referee, rel=1e-9, abs=1e-300)


def test_the_plan_states_what_it_and_one_unit_less_reach() -> None:
    plan = success_run_plan(0.9, 0.9, allowed_failures=1)
    assert plan.unit_count == 38
    assert plan.confidence_reached == pytest.approx(
        float(1 - chance_of_passing(38, 1, "0.9")), rel=1e-12
    )
    assert plan.confidence_one_unit_less == pytest.approx(
        float(1 - chance_of_passing(37, 1, "0.9")), rel=1e-12
    )


def test_one_unit_less_than_may_fail_and_one_shows_nothing() -> None:
    plan = success_run_plan(0.1, 0.5, allowed_failures=0)
    assert (plan.unit_count, plan.confidence_one_unit_less) == (1, 0.0)
    assert confidence_shown(3, 3, 0.9) == 0.0


def test_a_reliability_far_below_any_fraction_needs_one_unit_more_than_may_fail() -> None:
    for log_reliability in (-1e3, -1e300):
        assert units_required_at(log_reliability, 0.9, allowed_failures=2) == 3


@pytest.mark.parametrize("wrong", [0.0, 1.0, 90.0, math.nan, math.inf])
def test_a_fraction_out_of_range_is_refused(wrong: float) -> None:
    with pytest.raises(OutsideDomainError, match="reliability must be a fraction"):
        units_required(wrong, 0.9, allowed_failures=0)
    with pytest.raises(OutsideDomainError, match="confidence must be a fraction"):
        units_required(0.9, wrong, allowed_failures=0)
    with pytest.raises(OutsideDomainError, match="reliability must be a fraction"):
        confidence_shown(22, 0, wrong)


def test_a_count_out_of_range_is_refused() -> None:
    with pytest.raises(OutsideDomainError, match="allowed_failures must be a whole number of 0"):
        units_required(0.9, 0.9, allowed_failures=-1)
    with pytest.raises(OutsideDomainError, match=r"failure_count must be .* from 0 to 22, got 23"):
        confidence_shown(22, 23, 0.9)
    with pytest.raises(OutsideDomainError, match="unit_count must be a whole number of 1"):
        confidence_shown(0, 0, 0.9)
