"""Three-parameter Weibull against a general minimiser and against lots that have none."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.threshold_weibull import threshold_weibull_fit
from schemas.estimates import NotEstimable
from schemas.fits import ThresholdWeibullFit

# Lieblein and Zelen's 23 ball bearings, 1956, millions of revolutions (from memory).
BEARINGS = [17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.4, 51.84, 51.96, 54.12, 55.56, 67.8]
BEARINGS += [68.64, 68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4]


def fitted(records: LifeRecords) -> ThresholdWeibullFit:
    fit = threshold_weibull_fit(records)
    assert isinstance(fit, ThresholdWeibullFit)
    return fit


def loss(records: LifeRecords, threshold: float, scale: float, shape: float) -> float:
    """Minus the likelihood, by scipy.stats."""
    law = stats.weibull_min(shape, loc=threshold, scale=scale)
    failed = np.isfinite(records.high_cycles)
    terms = np.where(failed, law.logpdf(records.low_cycles), law.logsf(records.low_cycles))
    return -math.fsum(records.counts * terms)


def assert_no_better_place_nearby(fit: ThresholdWeibullFit, records: LifeRecords) -> None:
    def by_logarithms(at: np.ndarray) -> float:
        first = records.low_cycles[np.isfinite(records.high_cycles)].min()
        return loss(records, first - math.exp(at[0]), math.exp(at[1]), math.exp(at[2]))

    first = records.low_cycles[np.isfinite(records.high_cycles)].min()
    start = np.log([first - fit.threshold_cycles, fit.scale_cycles, fit.shape])
    here = by_logarithms(start)
    assert fit.log_likelihood == pytest.approx(-here, rel=1e-10)
    found = optimize.minimize(
        by_logarithms,
        start,
        method="Nelder-Mead",
        options={
            "initial_simplex": start + np.vstack([np.zeros(3), 0.01 * np.eye(3)]),
            "xatol": 1e-9,
            "fatol": 1e-12,
            "maxiter": 3000,
        },
    )
    assert found.fun >= here - 1e-9 * abs(here)
    assert found.x == pytest.approx(start, abs=1e-4)


def test_ball_bearings_have_a_threshold_that_a_general_search_confirms() -> None:
    records = lives_with_run_outs(BEARINGS, [True] * 23)
    assert_no_better_place_nearby(fitted(records), records)


@pytest.mark.parametrize(
    ("units", "failures", "stop"), [(40, 25, 900.0), (25, 25, math.inf), (60, 20, 700.0)]
)
def test_lots_drawn_with_a_threshold_are_fitted(units: int, failures: int, stop: float) -> None:
    rng = np.random.default_rng(units)
    lives = 300.0 + 500.0 * rng.weibull(1.8, units)
    failed = lives < stop
    early = lives_with_run_outs(np.append(np.minimum(lives, stop), 150.0), np.append(failed, False))
    fit = fitted(early)
    assert 0.0 < fit.threshold_cycles < lives.min() and fit.shape > 1.0
    assert_no_better_place_nearby(fit, early)
    # The unit that stopped at 150 cycles, before the threshold, says nothing.
    alone = fitted(lives_with_run_outs(np.minimum(lives, stop), failed))
    assert fit.threshold_cycles > 150.0
    assert alone.threshold_cycles == pytest.approx(fit.threshold_cycles, rel=1e-9)
    assert (fit.unit_count, alone.unit_count) == (units + 1, units)


@settings(max_examples=10)
@given(st.floats(1e-3, 1e7))
def test_another_unit_of_count_scales_threshold_and_scale(factor: float) -> None:
    one = fitted(lives_with_run_outs(BEARINGS, [True] * 23))
    other = fitted(lives_with_run_outs(np.array(BEARINGS) * factor, [True] * 23))
    assert other.threshold_cycles == pytest.approx(one.threshold_cycles * factor, rel=1e-7)
    assert other.scale_cycles == pytest.approx(one.scale_cycles * factor, rel=1e-7)
    assert other.shape == pytest.approx(one.shape, rel=1e-7)


@pytest.mark.parametrize(
    ("records", "reason"),
    [
        (lives_with_run_outs([5, 9], [False, False]), "NO_FAILURES"),
        (lives_with_run_outs([5, 9, 9], [False, True, False]), "FAILURES_ONLY_AT_LONGEST_LIFE"),
        (life_records([1, 5], [3, math.inf]), "BRACKETED_LIVES"),
        # Early failures and a long rest: the likelihood only rises toward the first failure.
        (
            lives_with_run_outs(
                [10, 12, 20, 60, 200, 1000], [True] * 5 + [False], counts=[1] * 5 + [20]
            ),
            "NO_INTERIOR_MAXIMUM",
        ),
    ],
)
def test_lots_without_such_a_maximum_are_refused_with_the_reason(
    records: LifeRecords, reason: str
) -> None:
    assert threshold_weibull_fit(records) == NotEstimable(reason=reason)
