"""References: exact rational binomial sums, chi-square quantiles of scipy.stats, round trips."""

import math
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.bounds import reliability_lower
from analysis.statistics.duration import (
    cycles_for_units,
    life_ratio_for_units,
    reliability_at_life_ratio,
    reliability_from_mixed_lives,
    reliability_shown,
    units_for_life_ratio,
)
from analysis.statistics.success_run import units_required

FRACTIONS = st.floats(0.05, 0.97)
SHAPES = st.floats(0.5, 4.0)
RATIOS = st.floats(0.4, 4.0)


def at_most(failures: int, units: int, reliability: Fraction) -> Fraction:
    return sum(
        (
            math.comb(units, k) * (1 - reliability) ** k * reliability ** (units - k)
            for k in range(failures + 1)
        ),
        Fraction(0),
    )


@pytest.mark.parametrize("allowed", [0, 1, 3])
@pytest.mark.parametrize(("ratio", "power"), [(2, 1), (2, 2), (3, 2)])
def test_the_binomial_count_is_exact_for_whole_powers(ratio: int, power: int, allowed: int) -> None:
    """R**(L**shape) is rational when both are whole: 0.9 to the power 1 to 9 here."""
    plan = units_for_life_ratio(0.9, 0.9, life_ratio=ratio, shape=power, allowed_failures=allowed)
    at_end = Fraction(9, 10) ** (ratio**power)
    units = plan.unit_count_binomial
    assert at_most(allowed, units, at_end) <= Fraction(1, 10) < at_most(allowed, units - 1, at_end)
    assert plan.reliability_at_planned_cycles == pytest.approx(float(at_end), rel=1e-13)


@given(FRACTIONS, FRACTIONS, SHAPES, st.integers(0, 8))
def test_one_life_is_the_plain_demonstration(
    reliability: float, confidence: float, shape: float, allowed: int
) -> None:
    plan = units_for_life_ratio(
        reliability, confidence, life_ratio=1.0, shape=shape, allowed_failures=allowed
    )
    plain = units_required(reliability, confidence, allowed_failures=allowed)
    assert plan.unit_count_binomial == plain
    required = stats.chi2.ppf(confidence, 2 * allowed + 2) / (-2 * math.log(reliability))
    assert plan.unit_count_poisson_exact == pytest.approx(required, rel=1e-10)


@given(FRACTIONS, FRACTIONS, RATIOS, SHAPES)
def test_without_failures_both_forms_agree(
    reliability: float, confidence: float, ratio: float, shape: float
) -> None:
    plan = units_for_life_ratio(
        reliability, confidence, life_ratio=ratio, shape=shape, allowed_failures=0
    )
    assert plan.unit_count_binomial == plan.unit_count_poisson
    shown = reliability_shown(9, 0, life_ratio=ratio, shape=shape, confidence=confidence)
    assert shown.reliability_lower_binomial == pytest.approx(
        shown.reliability_lower_poisson, rel=1e-11
    )


@given(FRACTIONS, FRACTIONS, st.integers(0, 5), st.integers(1, 40), SHAPES)
def test_units_run_the_planned_ratio_and_show_just_the_reliability(
    reliability: float, confidence: float, allowed: int, spare: int, shape: float
) -> None:
    units = allowed + spare
    plan = life_ratio_for_units(
        reliability, confidence, unit_count=units, shape=shape, allowed_failures=allowed
    )
    for form in ("binomial", "poisson"):
        ratio = getattr(plan, f"life_ratio_{form}")
        shown = reliability_shown(
            units, allowed, life_ratio=ratio, shape=shape, confidence=confidence
        )
        assert getattr(shown, f"reliability_lower_{form}") == pytest.approx(reliability, rel=1e-9)


@given(FRACTIONS, FRACTIONS, SHAPES, st.integers(1, 5))
def test_a_unit_that_leaves_on_failure_needs_at_least_the_poisson_count(
    reliability: float, confidence: float, shape: float, allowed: int
) -> None:
    plan = units_for_life_ratio(
        reliability, confidence, life_ratio=1.5, shape=shape, allowed_failures=allowed
    )
    assert plan.unit_count_binomial >= plan.unit_count_poisson
    assert plan.unit_count_binomial > allowed


def test_a_short_test_keeps_its_digits_where_nothing_may_be_seen_to_fail() -> None:
    """One ten-thousandth of a life, shape 2: 1e8 times the target lives of one full run."""
    plan = units_for_life_ratio(0.9, 0.9, life_ratio=1e-4, shape=2.0, allowed_failures=1)
    required = stats.chi2.ppf(0.9, 4) / (-2 * math.log(0.9))
    # A binomial count of rare failures is a Poisson count, to a few units in billions.
    assert plan.unit_count_binomial == pytest.approx(required * 1e8, abs=5)


def test_an_extreme_ratio_gives_no_infinity() -> None:
    assert reliability_at_life_ratio(0.9, 1e6, shape=4.0) == 0.0
    plan = units_for_life_ratio(0.9, 0.9, life_ratio=1e6, shape=4.0, allowed_failures=2)
    assert (plan.unit_count_binomial, plan.unit_count_poisson) == (3, 1)
    with pytest.raises(OutsideDomainError, match="life_ratio must be large enough for a countable"):
        units_for_life_ratio(0.9, 0.9, life_ratio=1e-6, shape=4.0, allowed_failures=0)
    for ratio in (1e-300, 1e300):
        with pytest.raises(OutsideDomainError, match="life_ratio must be such that its power"):
            units_for_life_ratio(0.9, 0.9, life_ratio=ratio, shape=4.0, allowed_failures=0)
    with pytest.raises(OutsideDomainError, match="shape must be large enough for a finite life"):
        life_ratio_for_units(0.9, 0.9, unit_count=1, shape=0.001, allowed_failures=0)


def test_cycles_are_rounded_up_but_not_past_an_exact_count() -> None:
    plan = life_ratio_for_units(0.9, 0.271, unit_count=3, shape=2.0, allowed_failures=0)
    assert cycles_for_units(plan, 100_000).cycles_binomial == 100_000
    plan = life_ratio_for_units(0.9, 0.9, unit_count=8, shape=2.0, allowed_failures=0)
    exact = 100_000 * (math.log(0.1) / math.log(0.9) / 8) ** 0.5
    cycles = cycles_for_units(plan, 100_000).cycles_binomial
    assert cycles - 1 < exact <= cycles


def test_mixed_lives_add_up_by_hand() -> None:
    """1 + 1 + 2.25 + 4 + 0.4096 target lives at shape 2."""
    shown = reliability_from_mixed_lives(
        [100_000, 100_000, 150_000, 200_000, 64_000],
        100_000,
        failure_count=0,
        shape=2.0,
        confidence=0.9,
    )
    assert shown.target_lives == pytest.approx(8.6596, rel=1e-14)
    assert shown.reliability_lower == pytest.approx(0.1 ** (1 / 8.6596), rel=1e-13)


def test_a_lot_that_failed_altogether_shows_nothing_by_counting() -> None:
    shown = reliability_shown(4, 4, life_ratio=2.0, shape=2.0, confidence=0.9)
    assert shown.reliability_lower_binomial == reliability_lower(4, 4, confidence=0.9) == 0.0
    assert 0.0 < shown.reliability_lower_poisson < 1.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: reliability_at_life_ratio(1.0, 2.0, shape=2.0), "reliability must be a fraction"),
        (lambda: reliability_at_life_ratio(0.9, 0.0, shape=2.0), "life_ratio must be a finite"),
        (lambda: reliability_at_life_ratio(0.9, 2.0, shape=-1), "shape must be a finite number"),
        (
            lambda: life_ratio_for_units(0.9, 0.9, unit_count=2, shape=2, allowed_failures=2),
            "unit_count must be a whole number of 3 or more, got 2",
        ),
        (
            lambda: units_for_life_ratio(0.9, 1, life_ratio=2, shape=2, allowed_failures=0),
            "confidence must be a fraction",
        ),
        (
            lambda: reliability_shown(5, 6, life_ratio=2, shape=2, confidence=0.9),
            "failure_count must be a whole number from 0 to 5",
        ),
        (
            lambda: reliability_from_mixed_lives(
                [5.0], 5, failure_count=2, shape=2, confidence=0.9
            ),
            "failure_count must be a whole number from 0 to 1",
        ),
        (
            lambda: cycles_for_units(
                life_ratio_for_units(0.9, 0.9, unit_count=8, shape=2, allowed_failures=0), math.inf
            ),
            "target_cycles must be a finite number above 0",
        ),
    ],
)
def test_an_argument_outside_its_range_is_refused(call: Any, message: str) -> None:
    with pytest.raises(OutsideDomainError, match=message):
        call()
