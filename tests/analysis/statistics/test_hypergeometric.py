"""References: exact fractions of whole binomial coefficients, and scipy.stats as a referee."""

import math
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.statistics.hypergeometric import hypergeometric_tails


def tails(count: int, lot: int, bad: int, drawn: int) -> tuple[float, float]:
    return hypergeometric_tails(count, lot_size=lot, nonconforming=bad, unit_count=drawn)


def at_most(count: int, lot: int, bad: int, drawn: int) -> Fraction:
    """Ways to draw `count` bad units or fewer, over all ways."""
    ways = sum(
        math.comb(bad, k) * math.comb(lot - bad, drawn - k) for k in range(min(count, drawn) + 1)
    )
    return Fraction(ways, math.comb(lot, drawn))


def none_found(lot: int, bad: int, drawn: int) -> Fraction:
    """Each bad unit in turn stays among the units not drawn."""
    chance = Fraction(1)
    for index in range(bad):
        chance *= Fraction(lot - drawn - index, lot - index)
    return chance


@st.composite
def lots(draw: Any, most: int = 300) -> tuple[int, int, int, int]:
    """A lot, its bad units, a sample and a count within some deviations of the mean."""
    lot = draw(st.integers(1, most))
    bad, drawn = draw(st.integers(0, lot)), draw(st.integers(0, lot))
    spread = math.sqrt(bad * drawn * (lot - bad) * (lot - drawn)) / lot**1.5 + 1
    count = int(bad * drawn / lot + draw(st.floats(-7, 7)) * spread)
    return count, lot, bad, drawn


@given(lots())
def test_both_chances_are_exact_however_small(given_lot: tuple[int, int, int, int]) -> None:
    count, lot, bad, drawn = given_lot
    exact = at_most(count, lot, bad, drawn)
    low, high = tails(count, lot, bad, drawn)
    assert low == pytest.approx(float(exact), rel=3e-13, abs=1e-300)
    assert high == pytest.approx(float(1 - exact), rel=3e-13, abs=1e-300)


@given(lots(most=10**7))
def test_sample_and_bad_units_may_change_places(given_lot: tuple[int, int, int, int]) -> None:
    count, lot, bad, drawn = given_lot
    assert tails(count, lot, bad, drawn) == pytest.approx(tails(count, lot, drawn, bad), rel=1e-11)


@given(lots(most=10**6))
def test_few_bad_drawn_are_many_bad_left(given_lot: tuple[int, int, int, int]) -> None:
    """P(X <= k) for the sample is P(X >= K - k) for the units left."""
    count, lot, bad, drawn = given_lot
    low, high = tails(count, lot, bad, drawn)
    left_low, left_high = tails(bad - count - 1, lot, bad, lot - drawn)
    assert (low, high) == pytest.approx((left_high, left_low), rel=1e-11, abs=1e-300)


@pytest.mark.parametrize("lot", [10**6, 10**9, 10**12, 2**53])
@pytest.mark.parametrize(("bad", "share"), [(1, 0.9), (7, 0.3), (200, 0.011), (2000, 0.0012)])
def test_large_lots_keep_their_digits(lot: int, bad: int, share: float) -> None:
    drawn = int(lot * share)
    exact = none_found(lot, bad, drawn)
    low, high = tails(0, lot, bad, drawn)
    assert low == pytest.approx(float(exact), rel=1e-12)
    assert high == pytest.approx(float(1 - exact), rel=1e-12)


def test_a_very_large_lot_is_a_normal_distribution_near_its_middle() -> None:
    """Half of 4e10 bad, half drawn: the mean is in the middle, its own chance 1/sqrt(2 pi) sd."""
    lot = 4 * 10**10
    low, high = tails(10**10, lot, lot // 2, lot // 2)
    at_mean = 1 / math.sqrt(2 * math.pi * lot / 16)
    assert low == pytest.approx(0.5 + at_mean / 2, rel=1e-12)
    assert low + high == pytest.approx(1, rel=1e-15)


def test_the_general_library_agrees_in_the_middle() -> None:
    for lot, bad, drawn, count in [(50, 5, 20, 2), (1000, 300, 77, 20), (5000, 40, 900, 9)]:
        low, _ = tails(count, lot, bad, drawn)
        assert low == pytest.approx(stats.hypergeom.cdf(count, lot, bad, drawn), rel=1e-10)


def test_what_must_or_cannot_happen_has_chance_one_or_none() -> None:
    assert tails(-1, 10, 3, 4) == (0.0, 1.0)
    assert tails(3, 10, 3, 4) == (1.0, 0.0)
    assert tails(0, 10, 8, 4) == (0.0, 1.0)  # two good units cannot fill a sample of four
    assert tails(0, 10, 0, 4) == (1.0, 0.0)
    assert tails(0, 10, 4, 0) == (1.0, 0.0)
    assert tails(3, 10, 4, 10) == (0.0, 1.0)
