"""The mixture flag: against a search without derivatives, its invariances, and simulation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.mixture import FALSE_ALARM_CHANCE, THRESHOLD, mixture_flag
from schemas.estimates import NotEstimable
from schemas.populations import MixtureFlag

INF = math.inf
SOUND = [82, 91, 104, 110, 117, 125, 131, 140]
WITH_WEAK = lives_with_run_outs([6, 7, 9, *SOUND, 150], [True] * 11 + [False])


def flag_of(records: LifeRecords) -> MixtureFlag:
    flag = mixture_flag(records)
    assert isinstance(flag, MixtureFlag)
    return flag


def negative(records: LifeRecords, at: np.ndarray) -> float:
    """Minus the log-likelihood of two Weibulls of one shape, in cycles; share up to 1/2."""
    shape, share = math.exp(at[0]), 0.5 / (1.0 + math.exp(-at[3]))
    low, high = records.low_cycles, records.high_cycles
    exact, unbroken = low == high, np.isinf(high)
    chances = np.zeros(low.size)
    for weight, scale in ((share, math.exp(at[1])), (1.0 - share, math.exp(at[2]))):
        alive = np.exp(-((low / scale) ** shape))
        later = np.where(unbroken, 0.0, np.exp(-((np.where(unbroken, 1.0, high) / scale) ** shape)))
        density = shape / scale * (low / scale) ** (shape - 1.0) * alive
        chances += weight * np.where(exact, density, alive - later)
    return -float(records.counts @ np.log(np.maximum(chances, 1e-300)))


@pytest.mark.parametrize(
    "records",
    [
        WITH_WEAK,
        life_records(
            [0, 20, 80, 100, 120, 140], [10, 40, 100, 120, 140, INF], counts=[2, 1, 2, 3, 2, 4]
        ),
    ],
    ids=["exact", "bracketed"],
)
def test_the_gain_is_that_of_a_search_without_derivatives(records: LifeRecords) -> None:
    flag = flag_of(records)
    found = min(
        optimize.minimize(
            lambda at: negative(records, at),
            [math.log(shape), math.log(weak), math.log(125), 0.0],
            method="Nelder-Mead",
            options={"maxiter": 3_000, "maxfev": 3_000, "xatol": 1e-7, "fatol": 1e-10},
        ).fun
        for shape, weak in ((2.0, 10.0), (6.0, 8.0))
    )
    expected = 2 * (-found - flag.single_fit.log_likelihood)
    assert flag.statistic == pytest.approx(expected, abs=2e-4)


def test_a_clear_weak_part_is_flagged_with_its_units() -> None:
    flag = flag_of(WITH_WEAK)
    assert flag.flagged and flag.statistic > flag.threshold == THRESHOLD
    assert [life.low_cycles for life in flag.suspects] == [6.0, 7.0, 9.0]
    assert all(life.weak_chance > 0.9 for life in flag.suspects)
    assert flag.weak_share == pytest.approx(3 / 12, abs=0.01)
    assert flag.weak_scale_cycles < 10 < 100 < flag.main_scale_cycles
    assert flag.shape > flag.single_fit.shape
    assert flag.false_alarm_chance == FALSE_ALARM_CHANCE


def test_lives_at_the_quantiles_of_one_weibull_are_not_flagged() -> None:
    quantiles = (-np.log(1 - (np.arange(20) + 0.5) / 20)) ** (1 / 2.2)
    assert not flag_of(lives_with_run_outs(1e5 * quantiles, [True] * 20)).flagged


@pytest.mark.parametrize(
    ("records", "reason"),
    [
        (lives_with_run_outs([90], [False], counts=[8]), "NO_FAILURES"),
        (
            lives_with_run_outs([5, 9, 90], [True, True, False], counts=[1, 2, 9]),
            "TOO_FEW_FAILURES",
        ),
        (
            lives_with_run_outs([50, 40], [True, False], counts=[5, 3]),
            "FAILURES_ONLY_AT_LONGEST_LIFE",
        ),
    ],
)
def test_what_cannot_be_told_apart_is_refused_with_the_reason(
    records: LifeRecords, reason: str
) -> None:
    assert mixture_flag(records) == NotEstimable(reason=reason)


def test_tied_failures_and_failures_at_their_first_look_do_not_end_the_search() -> None:
    tied = lives_with_run_outs([10, 60, 90], [True, True, False], counts=[3, 3, 6])
    assert math.isfinite(flag_of(tied).statistic)
    looked = life_records([0, 60, 60, 90], [60, 90, INF, INF], counts=[3, 4, 2, 3])
    assert math.isfinite(flag_of(looked).statistic)


@given(st.floats(1e-3, 1e6), st.floats(0.3, 4.0))
@settings(max_examples=10, deadline=None)
def test_neither_the_unit_of_cycles_nor_the_shape_moves_the_statistic(
    factor: float, power: float
) -> None:
    moved = LifeRecords(
        low_cycles=factor * WITH_WEAK.low_cycles**power,
        high_cycles=factor * WITH_WEAK.high_cycles**power,
        counts=WITH_WEAK.counts,
    )
    flag, plain = flag_of(moved), flag_of(WITH_WEAK)
    assert flag.statistic == pytest.approx(plain.statistic, abs=1e-4)
    assert flag.shape == pytest.approx(plain.shape / power, rel=1e-2)


@pytest.mark.slow
@pytest.mark.parametrize(("units", "failed_share"), [(10, 1.0), (12, 0.5), (20, 0.5), (30, 1.0)])
def test_one_population_is_flagged_no_more_often_than_stated(
    units: int, failed_share: float
) -> None:
    # 300 lots; the statistic depends on neither scale nor shape, so one shape stands for all.
    rng = np.random.default_rng(40)
    stop = (-math.log1p(-failed_share)) ** (1 / 2.2) if failed_share < 1.0 else INF
    flagged = judged = 0
    while judged < 300:
        lives = rng.weibull(2.2, units)
        records = lives_with_run_outs(np.where(lives < stop, lives, min(stop, 1e9)), lives < stop)
        flag = mixture_flag(records)
        if isinstance(flag, MixtureFlag):
            judged += 1
            flagged += flag.flagged
    assert flagged / judged <= FALSE_ALARM_CHANCE + 2 * 0.0126


@pytest.mark.slow
def test_a_fifth_of_weak_units_in_a_complete_lot_of_thirty_is_seen_half_the_time() -> None:
    # Weak units at a fifth of the scale, shape 3; 200 lots, standard error 0.035.
    rng = np.random.default_rng(41)
    seen = 0
    for _ in range(200):
        lives = rng.weibull(3.0, 30)
        lives[rng.random(30) < 0.2] /= 5
        seen += flag_of(lives_with_run_outs(lives, [True] * 30)).flagged
    assert 0.38 < seen / 200 < 0.64
