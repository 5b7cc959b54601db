"""Constant failure rate against chi-square quantiles, identities and refusals."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.rate_tests import mean_bounds, rate_test_length
from schemas.estimates import NotEstimable

CONFIDENCES = st.floats(0.05, 0.999)


@given(failures=st.integers(1, 60), confidence=CONFIDENCES)
def test_bounds_are_the_chi_square_quantiles_of_scipy_stats(
    failures: int, confidence: float
) -> None:
    bounds = mean_bounds(1e6, failures, confidence=confidence, ended_at_failure=False)
    assert bounds.mean_lower_cycles == pytest.approx(
        2e6 / stats.chi2.ppf(confidence, 2 * failures + 2), rel=1e-9
    )
    assert bounds.mean_upper_cycles == pytest.approx(
        2e6 / stats.chi2.ppf(1.0 - confidence, 2 * failures), rel=1e-9
    )
    at_failure = mean_bounds(1e6, failures, confidence=confidence, ended_at_failure=True)
    assert at_failure.mean_lower_cycles == pytest.approx(
        2e6 / stats.chi2.ppf(confidence, 2 * failures), rel=1e-9
    )


@given(allowed=st.integers(0, 40), confidence=CONFIDENCES, mean=st.floats(1.0, 1e9))
def test_a_test_of_the_stated_length_shows_the_mean_it_was_planned_for(
    allowed: int, confidence: float, mean: float
) -> None:
    length = rate_test_length(mean, confidence=confidence, allowed_failures=allowed)
    shown = mean_bounds(length.total_cycles, allowed, confidence=confidence, ended_at_failure=False)
    assert shown.mean_lower_cycles == pytest.approx(mean, rel=1e-12)


def test_without_a_failure_only_the_lower_bound_exists() -> None:
    bounds = mean_bounds(1000.0, 0, confidence=0.9, ended_at_failure=False)
    assert bounds.mean_lower_cycles == pytest.approx(1000.0 / -math.log(0.1), rel=1e-14)
    assert bounds.mean_cycles == bounds.mean_upper_cycles == NotEstimable(reason="NO_FAILURES")


def test_a_test_that_ended_at_a_failure_has_one() -> None:
    with pytest.raises(OutsideDomainError, match="failure_count"):
        mean_bounds(1000.0, 0, confidence=0.9, ended_at_failure=True)
