"""References: a fine grid over the range, and the root of the derivative found by bisection."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from analysis.errors import OutsideDomainError
from analysis.statistics.shape_range import largest_target_lives, least_target_lives
from analysis.statistics.weibayes import target_lives

TARGET = 100_000
# Lives of 1 % to ten times the target: beyond that one unit decides alone.
LIVES = st.lists(st.one_of(st.just(0), st.integers(1_000, 1_000_000)), min_size=1, max_size=25)
RANGES = st.tuples(st.floats(0.2, 6.0), st.floats(0.0, 5.0)).map(lambda r: (r[0], r[0] + r[1]))


@settings(max_examples=150)
@given(LIVES, RANGES)
@example([TARGET] * 3, (1.0, 3.0))
@example([0, 0], (1.0, 3.0))
@example([100_001, 99_999], (0.2, 11.0))
def test_no_shape_of_a_fine_grid_is_worse_or_better_than_the_extremes(
    lives: list[int], shapes: tuple[float, float]
) -> None:
    low, high = shapes
    least = least_target_lives(lives, TARGET, shape_low=low, shape_high=high)
    largest = largest_target_lives(lives, TARGET, shape_low=low, shape_high=high)
    ratios = np.array([life for life in lives if life], dtype=float) / TARGET
    grid = np.linspace(low, high, 2_001)
    sums = (ratios[:, None] ** grid).sum(axis=0)
    assert low <= least.shape <= high
    assert least.target_lives <= sums.min() * (1 + 1e-12)
    assert least.target_lives == pytest.approx(sums.min(), rel=1e-5, abs=1e-12)
    assert largest.target_lives == pytest.approx(sums.max(), rel=1e-12)
    assert target_lives(lives, TARGET, shape=least.shape) == least.target_lives


@pytest.mark.parametrize(
    "lives",
    [
        [60_000] * 10 + [150_000] * 3,
        [20_000, 99_000, 230_000],
        [1_000] * 40 + [500_000],
        [0, 0, 70_000, 130_000],
    ],
)
def test_a_minimum_inside_the_range_is_the_root_of_the_derivative(lives: list[int]) -> None:
    def slope(shape: float) -> float:
        terms = [(life / TARGET, math.log(life / TARGET)) for life in lives if life]
        return math.fsum(ratio**shape * log for ratio, log in terms)

    root = brentq(slope, 1e-3, 30.0, xtol=1e-15, rtol=1e-14)
    least = least_target_lives(lives, TARGET, shape_low=1e-3, shape_high=30.0)
    assert least.shape == pytest.approx(root, rel=1e-12)
    assert least.target_lives == pytest.approx(
        math.fsum((life / TARGET) ** root for life in lives if life), rel=1e-13
    )


def test_the_worst_shape_inside_is_worse_than_both_ends() -> None:
    lives = [60_000] * 10 + [150_000] * 3
    least = least_target_lives(lives, TARGET, shape_low=1.0, shape_high=3.0)
    for end in (1.0, 3.0):
        assert least.target_lives < target_lives(lives, TARGET, shape=end)


def test_survivors_beyond_the_target_make_the_low_end_worst_and_short_units_the_high_end() -> None:
    beyond = least_target_lives([200_000] * 12, TARGET, shape_low=2.0, shape_high=2.6)
    assert (beyond.shape, beyond.target_lives) == (2.0, 48.0)
    short = least_target_lives([50_000] * 4, TARGET, shape_low=1.0, shape_high=2.0)
    assert (short.shape, short.target_lives) == (2.0, 1.0)


def test_a_huge_shape_range_overflows_nowhere() -> None:
    least = least_target_lives([1_000, 10**9], TARGET, shape_low=0.05, shape_high=500.0)
    assert 0.05 <= least.shape <= 500.0
    assert math.isfinite(least.target_lives)


def test_a_single_shape_is_a_range() -> None:
    for extreme in (least_target_lives, largest_target_lives):
        assert extreme([150_000], TARGET, shape_low=2.0, shape_high=2.0).shape == 2.0


@pytest.mark.parametrize("extreme", [least_target_lives, largest_target_lives])
def test_a_range_that_is_none_is_refused(extreme: Any) -> None:
    with pytest.raises(OutsideDomainError, match=r"shape_high must be shape_low \(2.6\) or more"):
        extreme([1.0], TARGET, shape_low=2.6, shape_high=2.0)
    with pytest.raises(OutsideDomainError, match="shape_low must be a finite number above 0"):
        extreme([1.0], TARGET, shape_low=0.0, shape_high=2.0)
    with pytest.raises(OutsideDomainError, match="target_cycles must be a finite number above 0"):
        extreme([1.0], 0, shape_low=1.0, shape_high=2.0)
    with pytest.raises(OutsideDomainError, match=r"life_cycles\[0\] must be"):
        extreme([math.nan], TARGET, shape_low=1.0, shape_high=2.0)
