"""Fits of exact, unbroken and bracketed lives against independent maximisations and refusals."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize
from scipy_likelihood import law_of, likelihood_by_scipy

from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.log_likelihood import log_likelihood
from analysis.statistics.weibull import weibull_fit
from schemas.estimates import NotEstimable, WeibullFit
from schemas.fits import Distribution, LifeFit

INF = math.inf
BRACKETED = life_records(
    [0, 20_000, 40_000, 40_000, 52_000, 60_000],
    [20_000, 40_000, 60_000, 60_000, 52_000, INF],
    counts=[1, 1, 2, 1, 1, 8],
)


def fitted(records: LifeRecords, distribution: Distribution) -> LifeFit:
    fit = life_fit(records, distribution)
    assert isinstance(fit, LifeFit)
    return fit


def negative_by_scipy(records: LifeRecords, distribution: Distribution):
    """Minus the likelihood, of (location, ln spread)."""
    return lambda at: -likelihood_by_scipy(records, distribution, at[0], math.exp(at[1]))


@pytest.mark.parametrize("distribution", ["WEIBULL", "LOGNORMAL"])
def test_bracketed_lives_are_fitted_as_a_search_without_derivatives_finds(
    distribution: Distribution,
) -> None:
    fit = fitted(BRACKETED, distribution)
    found = optimize.minimize(
        negative_by_scipy(BRACKETED, distribution),
        [math.log(60_000), -0.5],
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000},
    )
    assert fit.log_likelihood == pytest.approx(-found.fun, abs=1e-9)
    assert fit.location == pytest.approx(found.x[0], abs=1e-6)
    assert fit.spread == pytest.approx(math.exp(found.x[1]), rel=1e-6)


@pytest.mark.parametrize("distribution", ["WEIBULL", "LOGNORMAL"])
def test_the_covariance_is_the_inverse_of_the_curvature(distribution: Distribution) -> None:
    fit = fitted(BRACKETED, distribution)
    at, step = np.array([fit.location, math.log(fit.spread)]), 1e-4

    def value(shift: tuple[float, float]) -> float:
        location, log_spread = at + step * np.array(shift)
        return log_likelihood(
            BRACKETED, distribution, location=location, spread=math.exp(log_spread)
        )

    second = np.empty((2, 2))
    second[0, 0] = value((1, 0)) - 2.0 * value((0, 0)) + value((-1, 0))
    second[1, 1] = value((0, 1)) - 2.0 * value((0, 0)) + value((0, -1))
    mixed = value((1, 1)) - value((1, -1)) - value((-1, 1)) + value((-1, -1))
    second[0, 1] = second[1, 0] = mixed / 4.0
    expected = np.linalg.inv(-second / step**2)
    assert fit.covariance.location_variance == pytest.approx(expected[0, 0], rel=1e-4)
    assert fit.covariance.log_spread_variance == pytest.approx(expected[1, 1], rel=1e-4)
    assert fit.covariance.covariance == pytest.approx(expected[0, 1], rel=1e-3, abs=1e-6)


def test_without_brackets_it_is_the_fit_by_the_shape_equation() -> None:
    cycles, failed = [41_000, 52_000, 60_000, 60_000], [True, True, False, False]
    fit = fitted(lives_with_run_outs(cycles, failed), "WEIBULL")
    alone = weibull_fit(cycles, failed)
    assert isinstance(alone, WeibullFit)
    assert fit.scale_cycles == pytest.approx(alone.scale_cycles, rel=1e-14)
    assert fit.log_likelihood == pytest.approx(alone.log_likelihood, rel=1e-12)


def test_very_narrow_brackets_are_exact_lives() -> None:
    """Brackets of one part in 10^9 against exact lives at their middle."""
    middles = np.array([41_000.0, 47_000.0, 52_000.0])
    narrow = life_records(
        [*(middles * (1 - 5e-10)), 60_000], [*(middles * (1 + 5e-10)), INF], counts=[1, 1, 1, 5]
    )
    exact = life_records([*middles, 60_000], [*middles, INF], counts=[1, 1, 1, 5])
    for distribution in ("WEIBULL", "LOGNORMAL"):
        one, other = fitted(narrow, distribution), fitted(exact, distribution)
        assert one.location == pytest.approx(other.location, rel=1e-9)
        assert one.spread == pytest.approx(other.spread, rel=1e-9)
        assert one.covariance.log_spread_variance == pytest.approx(
            other.covariance.log_spread_variance, rel=1e-9
        )


def test_an_exponential_life_is_the_cycles_per_failure() -> None:
    # theta = T / r, its log variance 1 / r: W. Nelson, Applied Life Data Analysis (from memory).
    records = lives_with_run_outs([100, 250, 400, 400], [True, True, False, False])
    fit = fitted(records, "EXPONENTIAL")
    assert fit.scale_cycles == pytest.approx(1150 / 2, rel=1e-14)
    assert fit.covariance.location_variance == pytest.approx(1 / 2, rel=1e-12)
    assert (fit.spread, fit.covariance.log_spread_variance) == (1.0, 0.0)


def test_an_exponential_life_looked_at_once_has_the_share_that_failed() -> None:
    """Of 10 units looked at after 1 000 cycles, 3 had failed: exp(-1000 / theta) = 0.7."""
    fit = fitted(life_records([0, 1000], [1000, INF], counts=[3, 7]), "EXPONENTIAL")
    assert math.exp(-1000 / fit.scale_cycles) == pytest.approx(0.7, rel=1e-12)


@pytest.mark.parametrize(
    ("low", "high", "reason"),
    [
        ([100, 200], [INF, INF], "NO_FAILURES"),
        ([100, 100], [100, INF], "FAILURES_ONLY_AT_LONGEST_LIFE"),
        ([100, 50], [100, INF], "FAILURES_ONLY_AT_LONGEST_LIFE"),
        ([100], [100], "FAILURES_ONLY_AT_LONGEST_LIFE"),
        ([30, 40, 35], [50, 60, INF], "ONE_COUNT_FITS_ALL"),
        ([0, 0], [50, 60], "ONE_COUNT_FITS_ALL"),
        ([0, 100], [200, INF], "ONE_COUNT_FITS_ALL"),
        # Looked at once each; the early look found more failed: no spread is wide enough.
        ([0, 0, 100, 300], [100, 300, INF, INF], "SPREAD_WITHOUT_END"),
    ],
)
def test_lives_without_a_maximum_are_refused_with_the_reason(
    low: list[float], high: list[float], reason: str
) -> None:
    counts = [9, 1, 1, 9] if reason == "SPREAD_WITHOUT_END" else None
    for distribution in ("WEIBULL", "LOGNORMAL"):
        refused = life_fit(life_records(low, high, counts=counts), distribution)
        assert refused == NotEstimable(reason=reason)


def test_looks_at_single_counts_are_fitted_where_later_looks_find_more_failed() -> None:
    records = life_records([0, 0, 100, 300], [100, 300, INF, INF], counts=[2, 8, 8, 2])
    for distribution in ("WEIBULL", "LOGNORMAL"):
        fit = fitted(records, distribution)
        # Two looks and two parameters: the fit goes through both shares.
        law = law_of(distribution, fit.location, fit.spread)
        assert law.cdf([100, 300]) == pytest.approx([0.2, 0.8], rel=1e-9)


def test_an_exponential_of_units_never_seen_whole_is_refused() -> None:
    assert life_fit(life_records([0], [50]), "EXPONENTIAL") == NotEstimable(
        reason="NONE_SEEN_WHOLE"
    )


LIVES = st.lists(
    st.tuples(st.integers(1, 50), st.integers(0, 20), st.integers(1, 3)), min_size=2, max_size=12
)


@settings(max_examples=60)
@given(lives=LIVES, factor=st.floats(1e-2, 1e7), data=st.data())
def test_every_lot_is_fitted_without_slope_or_refused_and_scales_with_its_cycles(
    lives: list[tuple[int, int, int]], factor: float, data: st.DataObject
) -> None:
    kinds = data.draw(st.lists(st.sampled_from("EBRL"), min_size=len(lives), max_size=len(lives)))
    low, high = [], []
    for (start, width, _), kind in zip(lives, kinds, strict=True):
        low.append(0 if kind == "L" else start)
        high.append({"E": start, "B": start + width, "R": INF, "L": start}[kind])
    counts = [count for _, _, count in lives]
    for distribution in ("WEIBULL", "LOGNORMAL", "EXPONENTIAL"):
        one = life_fit(life_records(low, high, counts=counts), distribution)
        other = life_fit(
            life_records(np.array(low) * factor, np.array(high) * factor, counts=counts),
            distribution,
        )
        if isinstance(one, NotEstimable) or isinstance(other, NotEstimable):
            assert one == other
            continue
        assert one.score_size < 1e-6
        assert other.location - one.location == pytest.approx(math.log(factor), abs=1e-6)
        assert other.spread == pytest.approx(one.spread, rel=1e-6)


def test_a_failure_one_rounding_step_below_the_longest_life_is_fitted() -> None:
    lives = [5e5, math.nextafter(5e5, INF)]
    for distribution in ("WEIBULL", "LOGNORMAL"):
        fit = fitted(lives_with_run_outs(lives, [True, False]), distribution)
        assert 1e-18 < fit.spread < 1e-14 and fit.score_size < 1e-9


def test_a_bracket_far_wider_than_the_spread_is_a_found_failure() -> None:
    """Shape about 80: at the far end the chance of survival is 0 beyond every number."""
    tight = [990.0, 1000.0, 1010.0]
    for distribution in ("WEIBULL", "LOGNORMAL"):
        wide = fitted(life_records([*tight, 995.0], [*tight, 1e11], counts=[1] * 4), distribution)
        open_end = fitted(life_records([*tight, 995.0], [*tight, INF]), distribution)
        assert wide.shape > 50.0
        assert wide.location == pytest.approx(open_end.location, rel=1e-12)
        assert wide.spread == pytest.approx(open_end.spread, rel=1e-9)


def test_equal_shares_at_an_early_and_a_late_look_have_no_spread() -> None:
    records = life_records([0, 0, 0.1, 0.3], [0.1, 0.3, INF, INF], counts=[3, 3, 6, 6])
    for distribution in ("WEIBULL", "LOGNORMAL"):
        assert life_fit(records, distribution) == NotEstimable(reason="SPREAD_WITHOUT_END")


def test_a_million_units_with_one_far_outlier_are_fitted() -> None:
    records = life_records(
        [1000.0, 1010.0, 0.0, 1e9], [1000.0, 1100.0, 1200.0, INF], counts=[10**6, 10**6, 10**6, 1]
    )
    for distribution in ("WEIBULL", "LOGNORMAL"):
        fit = fitted(records, distribution)
        assert fit.unit_count == 3 * 10**6 + 1 and fit.score_size < 1e-9
