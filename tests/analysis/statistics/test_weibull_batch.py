"""Many fits at once against one fit at a time."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.errors import OutsideDomainError
from analysis.statistics.weibull import weibull_fit
from analysis.statistics.weibull_batch import weibull_batch
from schemas.estimates import NotEstimable


def assert_agrees(
    fits: Any, row: int, lives: np.ndarray, units: np.ndarray, failures: np.ndarray
) -> None:
    """Row by row: each life's failures and others as entries of their own."""
    units, failures = units.astype(int), failures.astype(int)
    whole = units - failures
    alone = weibull_fit(
        np.concatenate([lives[failures > 0], lives[whole > 0]]),
        np.repeat([True, False], [(failures > 0).sum(), (whole > 0).sum()]),
        counts=np.concatenate([failures[failures > 0], whole[whole > 0]]),
    )
    if isinstance(alone, NotEstimable):
        assert not fits.found[row]
        assert math.isnan(fits.shapes[row]) and math.isnan(fits.scale_cycles[row])
        return
    assert fits.found[row]
    assert fits.shapes[row] == pytest.approx(alone.shape, rel=1e-12)
    assert fits.scale_cycles[row] == pytest.approx(alone.scale_cycles, rel=1e-12)


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1), st.integers(1, 30), st.booleans(), st.floats(0.3, 15.0))
def test_each_row_is_the_fit_of_its_lot(
    seed: int, life_count: int, shared: bool, shape: float
) -> None:
    rng = np.random.default_rng(seed)
    size = (life_count,) if shared else (12, life_count)
    lives = np.ceil(1e4 * rng.weibull(shape, size))
    units = rng.integers(0, 4, (12, life_count))
    failures = rng.binomial(units, 0.4)
    fits = weibull_batch(lives, units, failures)
    for row in range(12):
        own = lives if shared else lives[row]
        assert_agrees(fits, row, own, units[row], failures[row])


def test_resamples_of_a_lot_are_fitted_each_by_itself() -> None:
    """A bootstrap: thirty units, one count at which the rest stopped; several blocks of rows."""
    rng = np.random.default_rng(1)
    lives = np.array([31e3, 45e3, 52e3, 66e3, 71e3, 80e3, 100e3])
    failed = np.array([1, 1, 1, 1, 1, 1, 0])
    units = rng.multinomial(30, np.array([1, 1, 1, 1, 1, 1, 24]) / 30, size=6000)
    fits = weibull_batch(lives, units, units * failed)
    assert 0.9 < fits.found.mean() <= 1.0
    for row in range(0, 6000, 97):
        assert_agrees(fits, row, lives, units[row], units[row] * failed)


def test_hard_rows_are_fitted_beside_easy_ones() -> None:
    near = math.nextafter(5e5, math.inf)
    lives = np.array([0.0, 1.0, 41e3, 5e5, near, 1e11])
    units = np.array(
        [
            [0, 0, 0, 1, 1, 0],
            [0, 1, 0, 0, 0, 9],
            [3, 0, 2, 0, 0, 4],
            [0, 1, 0, 0, 0, 1_000_000_000],
            [1, 1, 1, 1, 1, 1],
        ]
    )
    failures = np.array(
        [[0, 0, 0, 1, 0, 0], [0, 1, 0, 0, 0, 0], [0, 0, 1, 0, 0, 0], [0, 1, 0, 0, 0, 0], [0] * 6]
    )
    fits = weibull_batch(lives, units, failures)
    for row in range(5):
        assert_agrees(fits, row, lives, units[row], failures[row])


def test_what_has_no_estimate_is_marked_and_no_number() -> None:
    fits = weibull_batch(
        [0.0, 100.0, 200.0],
        [[0, 1, 1], [0, 1, 1], [1, 1, 1], [0, 0, 0], [0, 1, 0]],
        [[0, 0, 0], [0, 0, 1], [1, 1, 0], [0, 0, 0], [0, 1, 0]],
    )
    assert not fits.found.any() and np.isnan(fits.shapes).all()


def test_no_rows_and_no_lives_are_no_error() -> None:
    assert weibull_batch([1.0], np.empty((0, 1)), np.empty((0, 1))).found.size == 0
    assert not weibull_batch([], np.empty((3, 0)), np.empty((3, 0))).found.any()


def test_another_unit_of_count_scales_the_scale() -> None:
    rng = np.random.default_rng(3)
    lives, units = rng.uniform(1, 50, 8), rng.integers(0, 5, (40, 8))
    failures = rng.binomial(units, 0.5)
    one = weibull_batch(lives, units, failures)
    other = weibull_batch(1e9 * lives, units, failures)
    np.testing.assert_allclose(other.shapes, one.shapes, rtol=1e-11)
    np.testing.assert_allclose(other.scale_cycles, 1e9 * one.scale_cycles, rtol=1e-11)


@pytest.mark.parametrize(
    ("lives", "units", "failures", "message"),
    [
        ([1.0], [1], [1], "unit_counts must be a table"),
        ([1.0, 2.0], [[1]], [[1]], "life_cycles must be one row"),
        ([1.0], [[1]], [[1, 1]], "failure_counts must be shaped"),
        ([-1.0], [[1]], [[1]], "life_cycles must be finite"),
        ([math.nan], [[1]], [[1]], "life_cycles must be finite"),
        ([1.0], [[1]], [[2]], "failure_counts must be 0 to"),
        ([1.0], [[1]], [[-1]], "failure_counts must be 0 to"),
        ([1.0], [[True]], [[True]], "unit_counts must be a table"),
    ],
)
def test_an_argument_outside_its_range_is_refused(
    lives: Any, units: Any, failures: Any, message: str
) -> None:
    with pytest.raises(OutsideDomainError, match=message):
        weibull_batch(lives, units, failures)
