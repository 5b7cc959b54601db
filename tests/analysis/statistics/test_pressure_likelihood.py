"""References: differences of the log-likelihood, scipy.stats, a linear programme per direction."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import linprog

from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.log_likelihood import sort_lives
from analysis.statistics.pressure_likelihood import (
    DesignedLives,
    Maximum,
    greatest_likelihood,
    slopes,
)
from analysis.statistics.weibull import weibull_fit
from schemas.estimates import NotEstimable, WeibullFit

WHOLE = math.inf
LINE = np.array([[1.0, 0.3], [1.0, 0.0], [1.0, -0.4]])
MIXED = [
    life_records([500.0, 700.0, 900.0], [500.0, 800.0, WHOLE], counts=[1, 2, 3]),
    life_records([300.0, 0.0, 450.0], [300.0, 350.0, 450.0]),
    life_records([100.0, 120.0, 200.0], [100.0, 140.0, 200.0]),
]


def plain_value(groups: list[LifeRecords], design: Any, beta: Any, shape: float) -> float:
    """Log-likelihood by scipy.stats, life by life."""
    total = 0.0
    for group, row in zip(groups, design, strict=True):
        life = stats.weibull_min(shape, scale=math.exp(float(row @ beta)))
        for low, high, count in zip(group.low_cycles, group.high_cycles, group.counts, strict=True):
            if low == high:
                total += count * life.logpdf(low)
            else:
                total += count * math.log(life.sf(low) - life.sf(high))
    return total


def designed(groups: list[LifeRecords], design: Any) -> DesignedLives:
    each = tuple(sort_lives(group, "WEIBULL") for group in groups)
    return DesignedLives(each, design, 0.0, sum(group.failure_count for group in each))


@pytest.mark.parametrize("point", [(6.0 * 2, 4.0, 2.0), (5.0, 1.0, 0.8), (33.0, 10.0, 5.5)])
def test_value_and_slopes_are_those_of_the_likelihood(point: Any) -> None:
    lives, here = designed(MIXED, LINE), np.array(point)
    found = slopes(lives, here)
    shape = here[-1]
    assert found.value == pytest.approx(
        plain_value(MIXED, LINE, here[:-1] / shape, shape), rel=1e-12
    )
    for place in range(3):
        step = np.zeros(3)
        step[place] = 1e-5
        ahead, behind = slopes(lives, here + step), slopes(lives, here - step)
        assert found.gradient[place] == pytest.approx(
            (ahead.value - behind.value) / 2e-5, rel=1e-6, abs=1e-6
        )
        assert found.curvature[place] == pytest.approx(
            -(ahead.gradient - behind.gradient) / 2e-5, rel=1e-6, abs=1e-6
        )


def test_brackets_are_fitted_as_they_are() -> None:
    found = greatest_likelihood(MIXED, LINE)
    assert isinstance(found, Maximum)
    beta = found.beta + np.array([found.center, 0.0])
    best = plain_value(MIXED, LINE, beta, found.shape)
    assert found.log_likelihood == pytest.approx(best, rel=1e-12)
    for shift in np.vstack((np.eye(3), -np.eye(3))) * 1e-3:
        moved = plain_value(MIXED, LINE, beta + shift[:2], found.shape * math.exp(shift[2]))
        assert moved < best


@given(st.lists(st.tuples(st.integers(10, 10**6), st.booleans()), min_size=2, max_size=20))
@settings(max_examples=40, deadline=None)
def test_one_group_is_an_ordinary_weibull_fit_or_has_none(lot: list[tuple[int, bool]]) -> None:
    lives, failed = [float(at) for at, _ in lot], np.array([did for _, did in lot], dtype=bool)
    if not failed.any():
        return
    reference = weibull_fit(lives, failed)
    found = greatest_likelihood([lives_with_run_outs(lives, failed)], np.ones((1, 1)))
    if isinstance(reference, WeibullFit):
        assert isinstance(found, Maximum)
        assert found.shape == pytest.approx(reference.shape, rel=1e-7)
        assert found.log_likelihood == pytest.approx(reference.log_likelihood, rel=1e-11)
    elif reference.reason == "FAILURES_ONLY_AT_LONGEST_LIFE":
        assert found == NotEstimable(reason="ONE_LINE_FITS_ALL")


def line_fits_all(groups: list[LifeRecords], design: Any) -> bool:
    """Whether some direction never lowers the likelihood: the largest of each coordinate."""
    rows, fixed = [], []
    for group, row in zip(groups, design, strict=True):
        for low, high in zip(group.low_cycles, group.high_cycles, strict=True):
            if low == high:
                fixed.append([*-row, math.log(low)])
                continue
            if low > 0:
                rows.append([*-row, math.log(low)])
            if high < WHOLE:
                rows.append([*row, -math.log(high)])
    size = design.shape[1] + 1
    for goal in np.vstack((np.eye(size), -np.eye(size))):
        found = linprog(
            -goal,
            A_ub=rows or None,
            b_ub=np.zeros(len(rows)) if rows else None,
            A_eq=fixed or None,
            b_eq=np.zeros(len(fixed)) if fixed else None,
            bounds=[(-1, 1)] * (size - 1) + [(0, 1)],
        )
        if found.fun < -1e-7:
            return True
    return False


LIFE = st.tuples(st.sampled_from([1.0, 2.0, 4.0, 8.0]), st.sampled_from(["F", "F", "W", "B", "L"]))
GROUP = st.lists(LIFE, min_size=1, max_size=4)


def group_of(lives: list[tuple[float, str]]) -> LifeRecords:
    low = [0.0 if kind == "L" else at for at, kind in lives]
    high = [{"F": at, "W": WHOLE, "B": 2 * at, "L": at}[kind] for at, kind in lives]
    return life_records(low, high)


@given(st.tuples(GROUP, GROUP, GROUP))
@settings(max_examples=60, deadline=None)
def test_a_maximum_is_denied_exactly_where_a_line_fits_all(groups: Any) -> None:
    records = [group_of(group) for group in groups]
    if not any(group.failure_count for group in records):
        return
    design = np.array([[1.0, math.log(4)], [1.0, math.log(2)], [1.0, 0.0]])
    found = greatest_likelihood(records, design)
    denied = found == NotEstimable(reason="ONE_LINE_FITS_ALL")
    assert denied == line_fits_all(records, design)
    if isinstance(found, Maximum):
        assert found.score_size < 1e-6


def test_units_looked_at_once_without_wear_have_no_spread() -> None:
    # The later look finds fewer failed: chance does not depend on the count.
    records = life_records(
        [0.0, 100.0, 0.0, 200.0], [100.0, WHOLE, 200.0, WHOLE], counts=[5, 5, 1, 9]
    )
    found = greatest_likelihood([records], np.ones((1, 1)))
    assert found == NotEstimable(reason="SPREAD_WITHOUT_END")


@pytest.mark.parametrize("factor", [1e-3, 1e4, 1e8])
def test_cycles_in_another_unit_move_the_location_alone(factor: float) -> None:
    here = greatest_likelihood(MIXED, LINE)
    there = greatest_likelihood(
        [
            life_records(
                group.low_cycles * factor,
                group.high_cycles * factor,
                counts=group.counts.astype(int),
            )
            for group in MIXED
        ],
        LINE,
    )
    assert isinstance(here, Maximum) and isinstance(there, Maximum)
    assert there.shape == pytest.approx(here.shape, rel=1e-9)
    assert there.beta[1] == pytest.approx(here.beta[1], rel=1e-9)
    shift = there.center + there.beta[0] - here.center - here.beta[0]
    assert shift == pytest.approx(math.log(factor), abs=1e-9)
    assert there.covariance == pytest.approx(here.covariance, rel=1e-6)
