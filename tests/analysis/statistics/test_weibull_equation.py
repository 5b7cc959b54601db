"""The shape equation in its two forms, lists and arrays, against sums without rounding."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from analysis.statistics.weibull_equation import (
    FewLives,
    ManyLives,
    scale_lives,
    solve_shape,
)


def exact_root(lives: list[float], failed: list[bool]) -> float:
    """Root by bisection, each sum by math.fsum."""
    longest = max(lives)
    # log1p of a share near -1 would lose the digits of a short life, log those of a long one.
    logs = [
        math.log1p((life - longest) / longest) if 2 * life > longest else math.log(life / longest)
        for life in lives
    ]
    wanted = math.fsum(x for x, f in zip(logs, failed, strict=True) if f) / sum(failed)

    def equation(shape: float) -> float:
        total = math.fsum(math.exp(shape * x) for x in logs)
        return math.fsum(x * math.exp(shape * x) for x in logs) / total - 1 / shape - wanted

    low = high = -1.0 / wanted
    while equation(high) < 0.0:
        high *= 2.0
    return brentq(equation, low, high, xtol=1e-15 * low, rtol=1e-14) if low < high else low


SPREADS = st.floats(0.02, 2.0)


@given(st.integers(2, 400), st.integers(0, 2**32 - 1), SPREADS)
def test_both_forms_find_the_root(count: int, seed: int, spread: float) -> None:
    rng = np.random.default_rng(seed)
    lives = 1e5 * rng.weibull(1.0 / spread, count)
    failed = rng.random(count) < 0.5
    failed[lives.argmin()] = True
    scaled = scale_lives(lives, failed, None)
    assert isinstance(scaled, FewLives if count <= 40 else ManyLives)
    root = solve_shape(scaled)
    expected = exact_root(lives.tolist(), failed.tolist())
    assert root.shape == pytest.approx(expected, rel=1e-11)
    powers = (lives / lives.max()) ** root.shape
    assert root.total == pytest.approx(math.fsum(powers), rel=1e-11)


@given(st.integers(0, 2**32 - 1))
def test_a_count_is_as_many_equal_lives(seed: int) -> None:
    rng = np.random.default_rng(seed)
    lives, failed = rng.uniform(1, 100, 30), rng.random(30) < 0.4
    failed[lives.argmin()] = True
    counts = rng.integers(1, 20, 30)
    few = solve_shape(scale_lives(lives, failed, counts.astype(float)))
    many = solve_shape(scale_lives(np.repeat(lives, counts), np.repeat(failed, counts), None))
    assert few.shape == pytest.approx(many.shape, rel=1e-12)
    assert few.total == pytest.approx(many.total, rel=1e-11)


@pytest.mark.parametrize("copies", [1, 100])
def test_units_that_have_not_started_change_nothing(copies: int) -> None:
    rng = np.random.default_rng(5)
    lives = rng.uniform(1, 100, 50)
    failed = lives < 50
    alone = solve_shape(scale_lives(lives, failed, None))
    with_more = np.concatenate([lives, np.zeros(copies)])
    and_flags = np.concatenate([failed, np.zeros(copies, dtype=bool)])
    assert solve_shape(scale_lives(with_more, and_flags, None)).shape == pytest.approx(
        alone.shape, rel=1e-13
    )


def test_a_failure_one_rounding_step_below_the_longest_life_has_a_root() -> None:
    # -1/shape is about the log of the ratio of the two, 1.2e-16 at 5e5.
    lives = np.array([5e5, math.nextafter(5e5, math.inf)])
    root = solve_shape(scale_lives(lives, np.array([True, False]), None))
    gap = math.log1p((lives[1] - lives[0]) / lives[0])
    # Two units, one failed: with x = shape * gap, x = 1 + e**-x, whose root is 1.2784645.
    assert root.shape * gap == pytest.approx(1.2784645427610738, rel=1e-9)
