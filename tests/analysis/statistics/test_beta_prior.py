"""Counting with a prior: against scipy.stats, exact fractions, and the classical plan."""

import itertools
import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.beta_prior import (
    beta_prior,
    chance_of_passing,
    prior_from_lot,
    success_run_posterior,
    units_required_with_prior,
)
from analysis.statistics.bounds import reliability_lower
from analysis.statistics.success_run import confidence_shown, units_required

LEVELS = st.floats(0.3, 0.999)
PROBABILITIES = st.floats(0.05, 0.999)
WEIGHTS = st.floats(0.2, 200.0)


@given(a=WEIGHTS, b=WEIGHTS, units=st.integers(1, 200), data=st.data())
def test_the_posterior_is_the_beta_distribution_of_scipy_stats(
    a: float, b: float, units: int, data: st.DataObject
) -> None:
    failures = data.draw(st.integers(0, units))
    answer = success_run_posterior(
        beta_prior(a, b), units, failures, reliability=0.9, probability=0.8
    )
    reference = stats.beta(a + units - failures, b + failures)
    assert answer.posterior_mean == pytest.approx(reference.mean(), rel=1e-12)
    assert answer.probability_at_least == pytest.approx(reference.sf(0.9), rel=1e-9, abs=1e-290)
    assert answer.reliability_credible_lower == pytest.approx(reference.ppf(0.2), rel=1e-9)
    assert answer.posterior.equivalent_unit_count == pytest.approx(a + b + units - 2.0)


@given(units=st.integers(1, 100), data=st.data(), probability=PROBABILITIES, level=LEVELS)
def test_the_classical_result_of_the_same_test_stands_beside(
    units: int, data: st.DataObject, probability: float, level: float
) -> None:
    failures = data.draw(st.integers(0, units))
    answer = success_run_posterior(
        beta_prior(5.0, 2.0), units, failures, reliability=level, probability=probability
    )
    assert answer.classical_reliability_lower == reliability_lower(
        units, failures, confidence=probability
    )
    assert answer.classical_confidence == confidence_shown(units, failures, level)


def test_before_the_first_unit_only_the_prior_speaks() -> None:
    answer = success_run_posterior(beta_prior(1, 1), 0, 0, reliability=0.9, probability=0.75)
    assert answer.reliability_credible_lower == pytest.approx(0.25, rel=1e-14)
    assert answer.probability_at_least == pytest.approx(0.1, rel=1e-14)
    assert answer.classical_reliability_lower == answer.classical_confidence == 0.0


@given(level=st.floats(0.5, 0.9999), probability=PROBABILITIES)
def test_a_uniform_prior_saves_one_unit_of_a_success_run(level: float, probability: float) -> None:
    plan = units_required_with_prior(
        beta_prior(1, 1), reliability=level, probability=probability, allowed_failures=0
    )
    classical = units_required(level, probability, allowed_failures=0)
    assert plan.unit_count == classical - 1
    assert plan.classical_unit_count == classical
    assert plan.unit_count_exact == pytest.approx(
        math.log1p(-probability) / math.log(level) - 1.0, rel=1e-12, abs=1e-12
    )


@settings(max_examples=60)
@given(
    a=WEIGHTS,
    b=st.floats(0.2, 20.0),
    level=LEVELS,
    probability=PROBABILITIES,
    allowed=st.integers(0, 6),
)
def test_a_plan_reaches_its_probability_and_one_unit_less_does_not(
    a: float, b: float, level: float, probability: float, allowed: int
) -> None:
    plan = units_required_with_prior(
        beta_prior(a, b), reliability=level, probability=probability, allowed_failures=allowed
    )

    def doubt(units: int) -> float:
        return float(stats.beta.cdf(level, a + units - allowed, b + allowed))

    risk = 1.0 - probability
    assert doubt(plan.unit_count) <= risk * (1 + 1e-9)
    if plan.unit_count > allowed:
        assert doubt(plan.unit_count - 1) > risk * (1 - 1e-9)
        assert plan.unit_count - 1 < plan.unit_count_exact + 1e-6
    prior_doubt = stats.beta.cdf(level, a, b)
    assert plan.prior_alone_suffices == (prior_doubt <= risk * (1 + 1e-12) + 1e-15)


def test_a_prior_that_suffices_needs_no_unit_and_says_so() -> None:
    plan = units_required_with_prior(
        prior_from_lot(60, 0, weight=1.0), reliability=0.95, probability=0.9, allowed_failures=0
    )
    assert plan.prior_alone_suffices and plan.unit_count == 0 and plan.unit_count_exact < 0.0
    assert plan.classical_confidence == 0.0 and plan.classical_unit_count == 45


@given(units=st.integers(0, 500), data=st.data(), weight=st.floats(0.0, 1.0))
def test_an_earlier_lot_counts_with_its_weight(
    units: int, data: st.DataObject, weight: float
) -> None:
    failures = data.draw(st.integers(0, units))
    prior = prior_from_lot(units, failures, weight=weight)
    assert prior.equivalent_unit_count == pytest.approx(weight * units, abs=1e-9)
    assert prior.failure_weight == pytest.approx(1.0 + weight * failures)


def exact_chance(a: int, b: int, units: int, allowed: int) -> Fraction:
    """Beta-binomial in exact fractions, by factorials: whole weights only."""

    def beta(x: int, y: int) -> Fraction:
        return Fraction(math.factorial(x - 1) * math.factorial(y - 1), math.factorial(x + y - 1))

    terms = (math.comb(units, k) * beta(a + units - k, b + k) for k in range(allowed + 1))
    return sum(terms, Fraction(0)) / beta(a, b)


@settings(max_examples=60)
@given(a=st.integers(1, 80), b=st.integers(1, 30), units=st.integers(1, 120), data=st.data())
def test_the_chance_of_passing_is_the_exact_beta_binomial(
    a: int, b: int, units: int, data: st.DataObject
) -> None:
    allowed = data.draw(st.integers(0, units))
    answer = chance_of_passing(beta_prior(a, b), units, allowed_failures=allowed)
    assert answer.chance == pytest.approx(float(exact_chance(a, b, units, allowed)), rel=1e-12)


@pytest.mark.parametrize("allowed", [0, 3, 900, 40_000, 999_999])
def test_the_chance_of_passing_stays_exact_for_a_million_units(allowed: int) -> None:
    # Uniform prior: every number of failures from 0 to n has the same chance.
    answer = chance_of_passing(beta_prior(1, 1), 1_000_000, allowed_failures=allowed)
    assert answer.chance == pytest.approx((allowed + 1) / 1_000_001, rel=1e-10)


@settings(max_examples=40)
@given(a=WEIGHTS, b=WEIGHTS, units=st.integers(1, 60))
def test_more_allowed_failures_are_passed_more_often_and_all_for_certain(
    a: float, b: float, units: int
) -> None:
    chances = [
        chance_of_passing(beta_prior(a, b), units, allowed_failures=c).chance
        for c in range(units + 1)
    ]
    assert all(low <= high * (1 + 1e-12) for low, high in itertools.pairwise(chances))
    assert chances[-1] == 1.0
    assert chances[0] == pytest.approx(
        stats.betabinom.pmf(units, units, a, b), rel=1e-8, abs=1e-300
    )


def test_with_much_known_the_chance_is_that_at_the_mean() -> None:
    answer = chance_of_passing(beta_prior(9.5e6, 5e5), 22, allowed_failures=1)
    assert answer.chance == pytest.approx(answer.classical_chance_at_mean, rel=1e-4)
    assert answer.classical_chance_at_mean == pytest.approx(stats.binom.cdf(1, 22, 0.05))


def test_arguments_outside_their_range_are_refused() -> None:
    for weight in (-0.1, 1.1, math.nan):
        with pytest.raises(OutsideDomainError, match="weight"):
            prior_from_lot(10, 0, weight=weight)
    for a, b in ((0.0, 1.0), (1.0, -1.0), (math.inf, 1.0)):
        with pytest.raises(OutsideDomainError):
            beta_prior(a, b)
    with pytest.raises(OutsideDomainError, match="failure_count"):
        success_run_posterior(beta_prior(1, 1), 3, 4, reliability=0.9, probability=0.9)
    with pytest.raises(OutsideDomainError, match="probability"):
        units_required_with_prior(
            beta_prior(1, 1), reliability=0.9, probability=1.0, allowed_failures=0
        )
    with pytest.raises(OutsideDomainError, match="allowed_failures"):
        chance_of_passing(beta_prior(1, 1), 3, allowed_failures=4)
