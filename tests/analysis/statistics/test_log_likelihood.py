"""The log-likelihood against scipy.stats' distributions, its derivatives against differences."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate
from scipy_likelihood import likelihood_by_scipy

from analysis.statistics.life_records import life_records, lives_with_run_outs
from analysis.statistics.log_likelihood import derivatives, log_likelihood, sort_lives
from schemas.fits import Distribution

INF = math.inf
MIXED = life_records(
    [10, 20, 0, 5, 30, 31, 31], [10, INF, 15, 40, 30, 31.00001, 31.01], counts=[1, 3, 2, 2, 1, 4, 2]
)
SHAPES = st.floats(0.3, 20.0)
LOCATIONS = st.floats(1.0, 6.0)


@pytest.mark.parametrize("distribution", ["WEIBULL", "LOGNORMAL"])
@pytest.mark.parametrize(("location", "spread"), [(3.0, 0.6), (2.5, 1.5), (3.4, 0.3)])
def test_each_kind_of_life_counts_as_scipy_says(
    distribution: Distribution, location: float, spread: float
) -> None:
    expected = likelihood_by_scipy(MIXED, distribution, location, spread)
    actual = log_likelihood(MIXED, distribution, location=location, spread=spread)
    # scipy's difference of two distribution functions keeps nine digits of the narrowest bracket.
    assert actual == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("distribution", ["WEIBULL", "LOGNORMAL"])
@given(location=LOCATIONS, shape=SHAPES)
def test_derivatives_are_those_of_the_value(
    distribution: Distribution, location: float, shape: float
) -> None:
    lives = sort_lives(MIXED, distribution)
    a, b, step = (location - lives.center) * shape, shape, 1e-5 * shape
    here = derivatives(lives, a, b)
    ends_a = [derivatives(lives, a + s, b) for s in (-step, step)]
    ends_b = [derivatives(lives, a, b + s) for s in (-step, step)]

    def slope(ends: list, name: str) -> float:
        return (getattr(ends[1], name) - getattr(ends[0], name)) / (2.0 * step)

    size = 1.0 + max(abs(each) for each in here)
    for ends, value, derivative in [
        (ends_a, "value", "by_a"),
        (ends_b, "value", "by_b"),
        (ends_a, "by_a", "by_aa"),
        (ends_b, "by_a", "by_ab"),
        (ends_b, "by_b", "by_bb"),
    ]:
        assert slope(ends, value) == pytest.approx(getattr(here, derivative), abs=2e-6 * size)


@given(location=LOCATIONS, shape=SHAPES)
def test_the_curve_bends_down_everywhere(location: float, shape: float) -> None:
    for distribution in ("WEIBULL", "LOGNORMAL"):
        lives = sort_lives(MIXED, distribution)
        here = derivatives(lives, (location - lives.center) * shape, shape)
        rounding = 1e-9 * (1.0 + max(abs(each) for each in here[3:]))
        assert here.by_aa < rounding and here.by_bb < rounding
        determinant = here.by_aa * here.by_bb - here.by_ab**2
        assert determinant > -rounding * (abs(here.by_aa) + abs(here.by_bb) + rounding)


@given(st.floats(1e-3, 1e9))
def test_another_unit_of_count_shifts_it_by_the_densities_only(factor: float) -> None:
    one = lives_with_run_outs([10, 20, 30], [True, True, False])
    other = lives_with_run_outs(np.array([10, 20, 30]) * factor, [True, True, False])
    there = log_likelihood(other, "WEIBULL", location=3.0 + math.log(factor), spread=0.5)
    here = log_likelihood(one, "WEIBULL", location=3.0, spread=0.5)
    assert there == pytest.approx(here - 2.0 * math.log(factor), abs=1e-9)


def test_a_far_tail_underflows_to_no_infinity() -> None:
    tail = life_records([1e5, 1e5], [2e5, INF])
    for distribution in ("WEIBULL", "LOGNORMAL"):
        value = log_likelihood(tail, distribution, location=math.log(2e4), spread=0.5)
        assert math.isfinite(value)


@given(st.floats(-8.0, 2.0), st.floats(1e-9, 1.0))
def test_a_bracket_of_any_width_keeps_its_digits(z: float, width: float) -> None:
    """Weibull in closed form by expm1; lognormal by the density's integral (QUADPACK)."""
    spread, low = 0.5, 1000.0
    location = math.log(low) - spread * z
    high = low * math.exp(spread * width)
    width = math.log1p((high - low) / low) / spread
    records = life_records([low], [high], counts=[3])
    weibull = log_likelihood(records, "WEIBULL", location=location, spread=spread)
    apart = math.exp(z) * math.expm1(width)
    expected = 3.0 * (-math.exp(z) + math.log(-math.expm1(-apart)))
    assert weibull == pytest.approx(expected, rel=1e-12)
    lognormal = log_likelihood(records, "LOGNORMAL", location=location, spread=spread)
    # Over the bracket from 0 to 1, relative to the density at its lower end.
    mean, _ = integrate.quad(
        lambda at: math.exp(-width * at * (z + width * at / 2.0)),
        0.0,
        1.0,
        epsabs=0.0,
        epsrel=1e-13,
    )
    share = width * mean
    expected = 3.0 * (math.log(share) - z**2 / 2.0 - math.log(2.0 * math.pi) / 2.0)
    assert lognormal == pytest.approx(expected, rel=1e-11)


@pytest.mark.parametrize("distribution", ["WEIBULL", "LOGNORMAL"])
@pytest.mark.parametrize("width", [1e-12, 1e-7, 1e-4, 0.3, 0.6, 2.0, 30.0])
def test_derivatives_of_a_bracket_are_those_of_its_value_at_any_width(
    distribution: Distribution, width: float
) -> None:
    records = life_records([1e5, 2e5], [1e5 * math.exp(width), INF])
    lives = sort_lives(records, distribution)
    a, b, step = 0.3 - lives.bracket_low[0], 1.0, 1e-4

    def slopes(at_a: float, at_b: float) -> np.ndarray:
        here = derivatives(lives, at_a, at_b)
        return np.array([here.value, here.by_a, here.by_b])

    by_a = (slopes(a + step, b) - slopes(a - step, b)) / (2.0 * step)
    by_b = (slopes(a, b + step) - slopes(a, b - step)) / (2.0 * step)
    here = derivatives(lives, a, b)
    size = 1.0 + abs(here.by_a) + abs(here.by_bb)
    assert by_a == pytest.approx([here.by_a, here.by_aa, here.by_ab], abs=1e-6 * size)
    assert by_b == pytest.approx([here.by_b, here.by_ab, here.by_bb], abs=1e-6 * size)
