"""References: exact conditional binomial sums, exact coverage, and a simulated test."""

import math
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.remaining_lot import (
    remaining_failures,
    remaining_failures_upper,
    remaining_nonconforming,
)
from schemas.estimates import NotEstimable
from schemas.shape_effects import WeibayesEvidence


def evidence(lives: list[float], failures: int, confidence: float = 0.9) -> WeibayesEvidence:
    return WeibayesEvidence(
        life_cycles=tuple(lives),
        failure_count=failures,
        target_cycles=100_000.0,
        confidence=confidence,
        terminated_at_failure=False,
    )


def as_few(failures: int, more: int, runs: int, remaining: int) -> Fraction:
    """Chance that the test got so few of all failures, each falling by the runs on each side."""
    share = Fraction(runs, runs + remaining)
    total = failures + more
    return sum(
        (math.comb(total, k) * share**k * (1 - share) ** (total - k) for k in range(failures + 1)),
        Fraction(0),
    )


@pytest.mark.parametrize("confidence", ["0.5", "0.9", "0.95"])
@pytest.mark.parametrize(("runs", "remaining"), [(5, 3), (20, 20), (48, 500), (100, 7)])
def test_the_bound_is_the_largest_number_not_ruled_out(
    runs: int, remaining: int, confidence: str
) -> None:
    for failures in range(4):
        left = [
            more
            for more in range(remaining + 1)
            if as_few(failures, more, runs, remaining) > 1 - Fraction(confidence)
        ]
        upper = remaining_failures_upper(
            float(runs), failures, remaining_units=remaining, confidence=float(confidence)
        )
        assert upper == max(left)


@given(st.floats(0.1, 1e4), st.integers(1, 10**6), st.floats(0.05, 0.99))
def test_without_a_failure_the_bound_has_a_closed_form(
    runs: float, remaining: int, confidence: float
) -> None:
    """(m / (S + m))**y > 1 - C."""
    ruled_out_from = math.log(1 - confidence) / -math.log1p(runs / remaining)
    upper = remaining_failures_upper(runs, 0, remaining_units=remaining, confidence=confidence)
    expected = min(remaining, max(0, math.ceil(ruled_out_from * (1 - 1e-9)) - 1))
    assert upper in {expected, min(remaining, math.floor(ruled_out_from))}


@pytest.mark.parametrize("failures", [0, 1, 5])
def test_for_very_many_units_the_prediction_approaches_the_limit_of_the_rate(
    failures: int,
) -> None:
    upper = remaining_failures_upper(1000.0, failures, remaining_units=10**12, confidence=0.9)
    limit = stats.chi2.ppf(0.9, 2 * failures + 2) / 2 / 1000.0
    assert upper / 1e12 == pytest.approx(limit, rel=2e-3)


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.9])
@pytest.mark.parametrize(("runs", "remaining"), [(20.0, 10), (48.0, 400), (5.0, 50)])
def test_the_coverage_is_at_least_the_confidence_at_every_rate(
    runs: float, remaining: int, confidence: float
) -> None:
    """Exact: Poisson failures in the test, binomial ones among units that leave on failure."""
    for rate in np.geomspace(1e-3, 1.0, 25):
        seen = np.arange(int(stats.poisson.isf(1e-12, rate * runs)) + 2)
        bounds = [
            remaining_failures_upper(
                runs, int(count), remaining_units=remaining, confidence=confidence
            )
            for count in seen
        ]
        kept = stats.binom.cdf(bounds, remaining, -math.expm1(-rate))
        assert stats.poisson.pmf(seen, rate * runs) @ kept >= confidence - 1e-10


@pytest.mark.slow
def test_the_coverage_holds_in_a_simulated_test_of_weibull_lives() -> None:
    """Rigs take a new unit whenever one fails or has run 150 000 cycles, up to a fixed sum."""
    rng = np.random.default_rng(117)
    shape, scale, count, stop, planned = 2.2, 400_000.0, 100_000.0, 150_000.0, 200.0
    remaining, repetitions, kept = 700, 2000, 0
    for _ in range(repetitions):
        runs, failures = 0.0, 0
        while True:
            life = scale * rng.weibull(shape)
            worth = (min(life, stop) / count) ** shape
            if runs + worth >= planned:
                break
            runs += worth
            failures += life < stop
        upper = remaining_failures_upper(
            planned, failures, remaining_units=remaining, confidence=0.9
        )
        kept += int((scale * rng.weibull(shape, remaining) < count).sum()) <= upper
    error = math.sqrt(0.09 / repetitions)
    assert kept / repetitions > 0.9 - 3 * error
    assert kept / repetitions < 0.97  # not needlessly wide


@pytest.mark.parametrize("confidence", [0.5, 0.9])
def test_the_counted_bound_covers_whatever_the_lot_holds(confidence: float) -> None:
    lot, drawn = 60, 15
    bounds = [
        remaining_nonconforming(lot, drawn, found, confidence=confidence).nonconforming_upper
        for found in range(drawn + 1)
    ]
    for bad in range(lot + 1):
        ways = sum(
            math.comb(bad, found) * math.comb(lot - bad, drawn - found)
            for found in range(min(bad, drawn) + 1)
            if bad - found <= bounds[found]
        )
        assert Fraction(ways, math.comb(lot, drawn)) >= Fraction(str(confidence))


def test_counted_failures_leave_a_share_of_the_rest() -> None:
    rest = remaining_nonconforming(100, 20, 1, confidence=0.9)
    assert (rest.nonconforming_upper, rest.remaining_units) == (15, 80)
    assert rest.conforming_fraction_lower == 65 / 80
    all_tested = remaining_nonconforming(20, 20, 3, confidence=0.9)
    assert (all_tested.nonconforming_upper, all_tested.conforming_fraction_lower) == (0, 1.0)


@settings(max_examples=50)
@given(
    st.lists(st.floats(1e4, 1e6), min_size=1, max_size=20),
    st.floats(1e4, 1e6),
    st.floats(0.5, 3),
    st.floats(0, 3),
)
def test_no_shape_of_the_range_predicts_more(
    lives: list[float], count: float, low: float, width: float
) -> None:
    asked: dict[str, Any] = {"up_to_cycles": count, "remaining_units": 50}
    worst = remaining_failures(evidence(lives, 0), shape_low=low, shape_high=low + width, **asked)
    for shape in np.linspace(low, low + width, 9).tolist():
        known = remaining_failures(evidence(lives, 0), shape_low=shape, shape_high=shape, **asked)
        assert known.failures_upper <= worst.failures_upper
        assert known.shape == shape


def test_the_expected_number_is_that_of_the_estimated_life() -> None:
    """Six units, one failed: eta**2 = sum of t**2, so 10 units lose 10 (1 - exp(-1e8 / sum))."""
    lives = [60_000.0] * 5 + [42_000.0]
    asked: dict[str, Any] = {"shape_low": 2.0, "shape_high": 2.0}
    rest = remaining_failures(
        evidence(lives, 1), up_to_cycles=10_000.0, remaining_units=10, **asked
    )
    total = sum(life**2 for life in lives)
    assert rest.failures_expected == pytest.approx(10 * (1 - math.exp(-1e8 / total)), rel=1e-12)
    assert rest.runs_to_count == pytest.approx(total / 1e8, rel=1e-14)
    none = remaining_failures(evidence(lives, 0), up_to_cycles=1e4, remaining_units=10, **asked)
    assert none.failures_expected == NotEstimable(reason="NO_FAILURES")


def test_where_nothing_has_run_or_nothing_remains_the_bound_is_all_or_none() -> None:
    assert remaining_failures_upper(0.0, 0, remaining_units=7, confidence=0.9) == 7
    assert remaining_failures_upper(9.0, 2, remaining_units=0, confidence=0.9) == 0
    rest = remaining_failures(
        evidence([0.0], 1), up_to_cycles=1e4, remaining_units=7, shape_low=1.0, shape_high=2.0
    )
    assert (rest.failures_upper, rest.failures_expected) == (7, 7.0)


@settings(max_examples=50)
@given(st.floats(1, 500), st.integers(0, 5), st.integers(1, 500), st.floats(0.1, 0.98))
def test_more_runs_predict_less_and_more_failures_or_units_more(
    runs: float, failures: int, remaining: int, confidence: float
) -> None:
    def upper(s: float, r: int, m: int, c: float) -> int:
        return remaining_failures_upper(s, r, remaining_units=m, confidence=c)

    middle = upper(runs, failures, remaining, confidence)
    assert upper(runs * 1.5, failures, remaining, confidence) <= middle
    assert upper(runs, failures + 1, remaining, confidence) >= middle
    assert upper(runs, failures, remaining + 1, confidence) >= middle
    assert upper(runs, failures, remaining, confidence + 0.01) >= middle


def test_numbers_that_cannot_be_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="runs_to_count must be a finite number of 0"):
        remaining_failures_upper(-1.0, 0, remaining_units=1, confidence=0.9)
    with pytest.raises(OutsideDomainError, match="remaining_units must be"):
        remaining_failures_upper(1.0, 0, remaining_units=-1, confidence=0.9)
    with pytest.raises(OutsideDomainError, match=r"failure_count must be .* from 0 to 1, got 2"):
        remaining_failures(
            evidence([1.0], 2), up_to_cycles=1.0, remaining_units=1, shape_low=1.0, shape_high=1.0
        )
