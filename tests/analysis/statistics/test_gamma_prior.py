"""A constant rate with a prior: against scipy.stats, round trips and the classical bound."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.gamma_prior import (
    gamma_prior_from_means,
    rate_posterior,
    rate_test_with_prior,
)
from analysis.statistics.rate_tests import mean_bounds
from schemas.priors import GammaPrior

FAILURES = st.floats(0.2, 50.0)
CYCLES = st.floats(1.0, 1e9)
PROBABILITIES = st.floats(0.05, 0.99)


@given(
    low=st.floats(1.0, 1e7),
    ratio=st.floats(1.01, 100.0),
    above_high=st.floats(0.05, 0.6),
    step=st.floats(0.05, 0.39),
)
def test_the_prior_makes_both_statements_true(
    low: float, ratio: float, above_high: float, step: float
) -> None:
    prior = gamma_prior_from_means(
        low,
        ratio * low,
        probability_above_low=above_high + step,
        probability_above_high=above_high,
    )
    rate = stats.gamma(prior.equivalent_failures, scale=1.0 / prior.equivalent_cycles)
    # A mean above m is a rate below 1 / m.
    assert rate.cdf(1.0 / low) == pytest.approx(above_high + step, abs=1e-9)
    assert rate.cdf(1.0 / (ratio * low)) == pytest.approx(above_high, abs=1e-9)


@given(scale=st.floats(1e-3, 1e6))
def test_the_prior_scales_with_the_unit(scale: float) -> None:
    statements = {"probability_above_low": 0.95, "probability_above_high": 0.5}
    one = gamma_prior_from_means(250.0, 600.0, **statements)
    other = gamma_prior_from_means(250.0 * scale, 600.0 * scale, **statements)
    assert other.equivalent_failures == pytest.approx(one.equivalent_failures, rel=1e-9)
    assert other.equivalent_cycles == pytest.approx(scale * one.equivalent_cycles, rel=1e-9)


@given(
    a=FAILURES,
    b=CYCLES,
    total=CYCLES,
    failures=st.integers(0, 40),
    probability=PROBABILITIES,
)
def test_the_posterior_is_the_gamma_distribution_of_scipy_stats(
    a: float, b: float, total: float, failures: int, probability: float
) -> None:
    prior = GammaPrior(equivalent_failures=a, equivalent_cycles=b)
    answer = rate_posterior(prior, total, failures, probability=probability)
    rate = stats.gamma(a + failures, scale=1.0 / (b + total))
    assert answer.mean_median_cycles == pytest.approx(1.0 / rate.median(), rel=1e-8)
    assert answer.mean_credible_lower_cycles == pytest.approx(1.0 / rate.ppf(probability), rel=1e-8)
    classical = mean_bounds(total, failures, confidence=probability, ended_at_failure=False)
    assert answer.classical_mean_lower_cycles == classical.mean_lower_cycles


@given(total=CYCLES, failures=st.integers(0, 40), probability=PROBABILITIES)
def test_a_prior_of_one_failure_in_no_time_is_the_classical_bound(
    total: float, failures: int, probability: float
) -> None:
    prior = GammaPrior(equivalent_failures=1.0, equivalent_cycles=0.0)
    answer = rate_posterior(prior, total, failures, probability=probability)
    assert answer.mean_credible_lower_cycles == pytest.approx(
        answer.classical_mean_lower_cycles, rel=1e-12
    )


@given(a=FAILURES, b=CYCLES, mean=CYCLES, allowed=st.integers(0, 20), probability=PROBABILITIES)
def test_the_total_required_makes_the_claim_credible(
    a: float, b: float, mean: float, allowed: int, probability: float
) -> None:
    prior = GammaPrior(equivalent_failures=a, equivalent_cycles=b)
    plan = rate_test_with_prior(prior, mean, probability=probability, allowed_failures=allowed)
    answer = rate_posterior(prior, plan.total_cycles, allowed, probability=probability)
    if plan.prior_alone_suffices:
        assert plan.total_cycles == 0.0
        assert answer.mean_credible_lower_cycles >= mean * (1 - 1e-12)
    else:
        assert answer.mean_credible_lower_cycles == pytest.approx(mean, rel=1e-12)


def test_nothing_run_shows_nothing_without_the_prior() -> None:
    prior = GammaPrior(equivalent_failures=2.0, equivalent_cycles=1000.0)
    answer = rate_posterior(prior, 0.0, 0, probability=0.9)
    assert answer.classical_mean_lower_cycles == 0.0
    assert answer.posterior == prior


def test_statements_that_contradict_each_other_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="low_mean_cycles"):
        gamma_prior_from_means(6.0, 6.0, probability_above_low=0.9, probability_above_high=0.5)
    with pytest.raises(OutsideDomainError, match="probability_above_low"):
        gamma_prior_from_means(2.0, 6.0, probability_above_low=0.5, probability_above_high=0.9)
    with pytest.raises(OutsideDomainError, match="high_mean_cycles"):
        gamma_prior_from_means(
            2.0, 2.0 + 1e-8, probability_above_low=0.9, probability_above_high=0.1
        )
    with pytest.raises(OutsideDomainError, match="high_mean_cycles"):
        gamma_prior_from_means(1.0, 1e300, probability_above_low=0.51, probability_above_high=0.5)
