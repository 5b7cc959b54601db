"""References: root of the exact binomial sum, and statsmodels' exact interval as a referee."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from statsmodels.stats.proportion import proportion_confint

from analysis.errors import OutsideDomainError
from analysis.statistics.bounds import (
    log_reliability_lower,
    reliability_lower,
    reliability_upper,
    two_sided_proportion_limits,
)

CONFIDENCES = st.floats(0.01, 0.999)


@st.composite
def results(draw: Any, most: int = 300) -> tuple[int, int]:
    units = draw(st.integers(1, most))
    return units, draw(st.integers(0, units))


def at_most(failures: int, units: int, reliability: float) -> float:
    """Chance of `failures` or fewer, term by term."""
    bad = 1 - reliability
    return math.fsum(
        math.comb(units, k) * bad**k * reliability ** (units - k) for k in range(failures + 1)
    )


@pytest.mark.parametrize("confidence", [0.271, 0.5, 0.9, 0.99])
@pytest.mark.parametrize(("units", "failures"), [(1, 0), (10, 0), (20, 4), (60, 1), (60, 59)])
def test_the_lower_limit_makes_so_few_failures_just_unlikely_enough(
    units: int, failures: int, confidence: float
) -> None:
    root = brentq(lambda r: at_most(failures, units, r) - (1 - confidence), 0, 1, xtol=1e-15)
    actual = reliability_lower(units, failures, confidence=confidence)
    assert actual == pytest.approx(root, rel=1e-11)


@pytest.mark.parametrize("confidence", [0.271, 0.5, 0.9, 0.99])
@pytest.mark.parametrize(("units", "failures"), [(1, 1), (10, 10), (20, 4), (60, 1), (60, 59)])
def test_the_upper_limit_makes_so_many_failures_just_unlikely_enough(
    units: int, failures: int, confidence: float
) -> None:
    root = brentq(lambda r: at_most(failures - 1, units, r) - confidence, 0, 1, xtol=1e-15)
    actual = reliability_upper(units, failures, confidence=confidence)
    assert actual == pytest.approx(root, rel=1e-11, abs=1e-14)


@given(results(), st.floats(0.51, 0.999))
def test_the_referee_agrees_with_the_direction_pinned(
    result: tuple[int, int], confidence: float
) -> None:
    """statsmodels bounds the *failed* share two-sidedly: its upper end is our lower limit."""
    units, failures = result
    failed_low, failed_high = proportion_confint(
        failures, units, alpha=2 * (1 - confidence), method="beta"
    )
    lower = reliability_lower(units, failures, confidence=confidence)
    upper = reliability_upper(units, failures, confidence=confidence)
    assert lower == pytest.approx(1 - failed_high, abs=1e-10)
    assert upper == pytest.approx(1 - failed_low, abs=1e-10)
    assert lower - 1e-12 <= 1 - failures / units <= upper + 1e-12


@given(results(), st.floats(0.01, 0.99))
def test_the_two_sided_limits_agree_with_the_referee(
    result: tuple[int, int], confidence: float
) -> None:
    units, events = result
    limits = two_sided_proportion_limits(units, events, two_sided_confidence=confidence)
    low, high = proportion_confint(events, units, alpha=1 - confidence, method="beta")
    assert (limits.lower, limits.upper) == pytest.approx((low, high), rel=1e-9, abs=1e-12)


def test_a_two_sided_90_percent_limit_is_a_one_sided_95_percent_limit() -> None:
    limits = two_sided_proportion_limits(20, 4, two_sided_confidence=0.90)
    assert 1 - limits.upper == pytest.approx(reliability_lower(20, 4, confidence=0.95), rel=1e-12)
    assert 1 - limits.lower == pytest.approx(reliability_upper(20, 4, confidence=0.95), rel=1e-12)


def test_the_ends_are_exact() -> None:
    assert reliability_upper(12, 0, confidence=0.9) == 1.0
    assert reliability_lower(12, 12, confidence=0.9) == 0.0
    assert reliability_lower(12, 0, confidence=0.9) == pytest.approx(0.1 ** (1 / 12), rel=1e-14)
    limits = two_sided_proportion_limits(12, 0, two_sided_confidence=0.9)
    assert limits.lower == 0.0
    assert two_sided_proportion_limits(12, 12, two_sided_confidence=0.9).upper == 1.0


@settings(max_examples=50)
@given(results(), CONFIDENCES)
def test_more_units_raise_and_more_failures_lower_the_limit(
    result: tuple[int, int], confidence: float
) -> None:
    units, failures = result
    lower = reliability_lower(units, failures, confidence=confidence)
    assert reliability_lower(units + 1, failures, confidence=confidence) >= lower
    assert reliability_lower(units + 1, failures + 1, confidence=confidence) <= lower + 1e-12


@given(results(), CONFIDENCES)
def test_the_logarithm_is_that_of_the_limit(result: tuple[int, int], confidence: float) -> None:
    units, failures = result
    if failures < units:
        lower = reliability_lower(units, failures, confidence=confidence)
        logarithm = log_reliability_lower(units, failures, confidence=confidence)
        assert math.exp(logarithm) == pytest.approx(lower, rel=1e-12)


def test_the_logarithm_keeps_its_digits_close_to_one() -> None:
    """With a billion units a binomial count is a Poisson count to one part in a hundred million."""
    logarithm = log_reliability_lower(10**9, 1, confidence=0.9)
    assert logarithm == pytest.approx(-3.8897201698674 / 1e9, rel=1e-8)  # chi2(0.9; 4) / 2


@pytest.mark.parametrize("limit", [reliability_lower, reliability_upper, log_reliability_lower])
def test_results_that_cannot_be_are_refused(limit: Any) -> None:
    with pytest.raises(OutsideDomainError, match=r"failure_count must be .* from 0 to 5, got 6"):
        limit(5, 6, confidence=0.9)
    with pytest.raises(OutsideDomainError, match="unit_count must be a whole number of 1"):
        limit(0, 0, confidence=0.9)
    with pytest.raises(OutsideDomainError, match="confidence must be a fraction"):
        limit(5, 1, confidence=95)


def test_the_logarithm_of_a_lot_that_failed_altogether_is_refused() -> None:
    with pytest.raises(OutsideDomainError, match=r"failure_count must be .* from 0 to 4, got 5"):
        log_reliability_lower(5, 5, confidence=0.9)
