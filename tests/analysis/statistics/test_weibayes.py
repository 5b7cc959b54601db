"""References: chi-square quantiles of scipy.stats, roots of Poisson sums, the success run."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import brentq

from analysis.errors import OutsideDomainError
from analysis.statistics.bounds import reliability_lower
from analysis.statistics.weibayes import (
    reaches_requirement,
    reliability_lower_from_target_lives,
    reliability_upper_from_target_lives,
    target_lives,
    target_lives_required,
    weibayes_bound,
)
from schemas.estimates import NotEstimable

FRACTIONS = st.floats(0.01, 0.99)
SHAPES = st.floats(0.2, 8.0)
LIVES = st.lists(st.floats(1.0, 1e7), min_size=1, max_size=30)


def poisson_at_most(count: int, mean: float) -> float:
    return math.fsum(math.exp(-mean) * mean**k / math.factorial(k) for k in range(count + 1))


def bound(lives: list[float], **given_here: Any) -> Any:
    arguments: dict[str, Any] = {
        "failure_count": 0,
        "shape": 2.0,
        "confidence": 0.9,
        "terminated_at_failure": False,
    }
    return weibayes_bound(lives, **(arguments | given_here))


@pytest.mark.parametrize(
    ("allowed", "expected"), [(0, 44.89), (1, 75.83), (2, 103.76), (3, 130.25)]
)
def test_target_lives_for_95_percent_at_90_percent_confidence(
    allowed: int, expected: float
) -> None:
    """Computed and confirmed in project material, not printed in a handbook known to us."""
    required = target_lives_required(0.95, 0.90, allowed_failures=allowed)
    assert round(required, 2) == expected


@given(FRACTIONS, FRACTIONS, st.integers(0, 20))
def test_target_lives_required_is_a_chi_square_quantile(
    reliability: float, confidence: float, allowed: int
) -> None:
    required = target_lives_required(reliability, confidence, allowed_failures=allowed)
    quantile = stats.chi2.ppf(confidence, 2 * allowed + 2)
    assert required == pytest.approx(quantile / (-2 * math.log(reliability)), rel=1e-10)


@given(FRACTIONS, FRACTIONS, st.integers(0, 20))
def test_a_requirement_just_met_shows_just_the_reliability(
    reliability: float, confidence: float, allowed: int
) -> None:
    required = target_lives_required(reliability, confidence, allowed_failures=allowed)
    shown = reliability_lower_from_target_lives(required, allowed, confidence=confidence)
    assert shown == pytest.approx(reliability, rel=1e-12)


@pytest.mark.parametrize("confidence", [0.271, 0.5, 0.9, 0.999])
@pytest.mark.parametrize(("lives", "failures"), [(0.3, 0), (20.0, 1), (20.0, 4), (300.0, 12)])
def test_limits_are_roots_of_the_poisson_sum(
    lives: float, failures: int, confidence: float
) -> None:
    mean = brentq(lambda m: poisson_at_most(failures, m) - (1 - confidence), 0, 60, xtol=1e-14)
    lower = reliability_lower_from_target_lives(lives, failures, confidence=confidence)
    assert lower == pytest.approx(math.exp(-mean / lives), rel=1e-11)
    if failures:
        mean = brentq(lambda m: poisson_at_most(failures - 1, m) - confidence, 0, 60, xtol=1e-14)
        upper = reliability_upper_from_target_lives(lives, failures, confidence=confidence)
        assert upper == pytest.approx(math.exp(-mean / lives), rel=1e-11)


def test_the_ends_are_exact() -> None:
    assert reliability_lower_from_target_lives(0.0, 0, confidence=0.9) == 0.0
    assert reliability_lower_from_target_lives(1e-320, 0, confidence=0.9) == 0.0
    assert reliability_upper_from_target_lives(0.0, 0, confidence=0.9) == 1.0
    assert reliability_upper_from_target_lives(17.0, 0, confidence=0.9) == 1.0
    assert reliability_upper_from_target_lives(0.0, 2, confidence=0.9) == 0.0


@given(st.integers(1, 400), FRACTIONS, SHAPES, st.integers(1, 10**7))
def test_no_failure_and_all_units_at_the_target_is_the_success_run(
    units: int, confidence: float, shape: float, target: int
) -> None:
    success_run = reliability_lower(units, 0, confidence=confidence)
    lives = target_lives([target] * units, target, shape=shape)
    shown = reliability_lower_from_target_lives(lives, 0, confidence=confidence)
    assert shown == pytest.approx(success_run, rel=1e-12)
    weibayes = bound([target] * units, shape=shape, confidence=confidence)
    assert weibayes.reliability_lower(target) == pytest.approx(success_run, rel=1e-11)


@given(LIVES, SHAPES, FRACTIONS, st.integers(0, 1))
def test_the_bound_equals_the_formula_written_out(
    lives: list[float], shape: float, confidence: float, failures: int
) -> None:
    actual = bound(lives, shape=shape, confidence=confidence, failure_count=failures)
    total = math.fsum(life**shape for life in lives)
    expected = (2 * total / stats.chi2.ppf(confidence, 2 * failures + 2)) ** (1 / shape)
    assert actual.scale_lower_cycles == pytest.approx(expected, rel=1e-9)
    if failures:
        assert actual.scale_point_cycles == pytest.approx(total ** (1 / shape), rel=1e-9)


@given(LIVES, SHAPES, FRACTIONS, st.floats(1e-3, 1e3))
def test_lives_in_another_unit_scale_the_bound(
    lives: list[float], shape: float, confidence: float, factor: float
) -> None:
    once = bound(lives, shape=shape, confidence=confidence).scale_lower_cycles
    scaled = bound([life * factor for life in lives], shape=shape, confidence=confidence)
    assert scaled.scale_lower_cycles == pytest.approx(once * factor, rel=1e-10)


@given(LIVES, SHAPES, FRACTIONS, st.floats(0.0, 1e7))
def test_a_further_survivor_never_lowers_the_bound(
    lives: list[float], shape: float, confidence: float, further: float
) -> None:
    once = bound(lives, shape=shape, confidence=confidence).scale_lower_cycles
    more = bound([*lives, further], shape=shape, confidence=confidence).scale_lower_cycles
    assert more >= once * (1 - 1e-12)


def test_six_units_equal_an_independent_librarys_bound() -> None:
    """Project material: 71 282 cycles and 83.77 %, agreed with a library to 15 digits."""
    actual = bound([60_000] * 5 + [42_000], failure_count=1)
    assert round(actual.scale_lower_cycles) == 71_282
    assert round(actual.reliability_lower(30_000), 4) == 0.8377
    assert actual.degrees_of_freedom == 4


def test_the_b_life_and_the_reliability_undo_each_other() -> None:
    actual = bound([160_000.0, 200_000.0, 200_000.0])
    assert actual.reliability_lower(actual.b_life_lower(0.1)) == pytest.approx(0.9, rel=1e-12)


def test_a_test_that_ends_at_its_last_failure_has_two_degrees_less() -> None:
    lives = [410_000, 760_000, 905_000]
    at_failure = bound(lives, failure_count=3, terminated_at_failure=True)
    at_count = bound(lives, failure_count=3)
    assert (at_failure.degrees_of_freedom, at_count.degrees_of_freedom) == (6, 8)
    assert at_failure.scale_lower_cycles > at_count.scale_lower_cycles


def test_no_failure_has_no_point_estimate_and_says_why() -> None:
    assert bound([5.0]).scale_point_cycles == NotEstimable(reason="NO_FAILURES")


def test_a_lot_that_has_not_started_shows_nothing() -> None:
    actual = bound([0.0, 0.0])
    assert actual.scale_lower_cycles == 0.0
    assert (actual.reliability_lower(1), actual.b_life_lower(0.1)) == (0.0, 0.0)
    assert target_lives([], 100_000, shape=2.0) == target_lives([0], 100_000, shape=2.0) == 0.0


def test_a_large_shape_does_not_overflow() -> None:
    actual = bound([1e7, 2e7], shape=50.0)
    assert actual.scale_lower_cycles == pytest.approx(2e7 / math.log(10) ** 0.02, rel=1e-12)
    with pytest.raises(OutsideDomainError, match="shape must be small enough for a finite sum"):
        target_lives([1e9], 1.0, shape=50.0)
    with pytest.raises(OutsideDomainError, match="shape must be large enough for a finite scale"):
        bound([1e7] * 100, shape=0.001)


@given(st.integers(1, 60), SHAPES, st.floats(0.5, 4.0))
def test_a_sum_added_in_any_order_reaches_its_requirement(
    units: int, shape: float, ratio: float
) -> None:
    required = units * ratio**shape
    rng = np.random.default_rng(units)
    parts = rng.permutation([100_000 * ratio] * units)
    assert reaches_requirement(target_lives(parts, 100_000, shape=shape), required)
    assert not reaches_requirement(required * (1 - 1e-9), required)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: target_lives([-1], 5, shape=2), r"life_cycles\[0\] must be a finite number"),
        (lambda: target_lives([1], 0, shape=2), "target_cycles must be a finite number above 0"),
        (lambda: target_lives([1], 5, shape=math.nan), "shape must be a finite number above 0"),
        (lambda: target_lives_required(1, 0.9, allowed_failures=0), "reliability must be a frac"),
        (lambda: target_lives_required(0.9, 90, allowed_failures=0), "confidence must be a frac"),
        (lambda: target_lives_required(0.9, 0.9, allowed_failures=0.5), "allowed_failures must"),
        (lambda: reaches_requirement(math.nan, 5.0), "target_lives must be a finite number of 0"),
        (lambda: reaches_requirement(5.0, math.inf), "required must be a finite number of 0"),
        (
            lambda: reliability_lower_from_target_lives(-1.0, 0, confidence=0.9),
            "target_lives must be a finite number of 0 or more",
        ),
        (
            lambda: reliability_upper_from_target_lives(1.0, -1, confidence=0.9),
            "failure_count must be a whole number of 0 or more",
        ),
        (lambda: bound([]), "number of life_cycles must be a whole number of 1 or more, got 0"),
        (lambda: bound([1.0], failure_count=2), "failure_count must be .* from 0 to 1, got 2"),
        (lambda: bound([1.0], terminated_at_failure=True), "1 or more when the test ended at a"),
        (lambda: bound([1.0]).reliability_lower(-1.0), "cycles must be a finite number of 0"),
        (lambda: bound([1.0]).b_life_lower(10), "fraction must be strictly between 0 and 1"),
    ],
)
def test_an_argument_outside_its_range_is_refused(call: Any, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
