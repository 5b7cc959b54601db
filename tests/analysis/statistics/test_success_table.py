"""References: the function for one cell, exact fractions, and scipy.stats over whole grids."""

import math
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.success_run import confidence_shown, units_required
from analysis.statistics.success_table import (
    chance_of_passing_table,
    units_required_table,
)

RELIABILITIES = np.linspace(0.80, 0.999, 100)[:, None, None]
SURE = np.linspace(0.50, 0.99, 100)[None, :, None]
ALLOWED = np.arange(6)[None, None, :]


def one_by_one(reliability: Any, confidence: Any, allowed: Any) -> Any:
    cell = np.vectorize(lambda r, c, a: units_required(float(r), float(c), allowed_failures=int(a)))
    return cell(reliability, confidence, allowed)


def test_the_general_library_accepts_every_cell_and_rejects_one_unit_less() -> None:
    """All 60 000 cells, by another road: the binomial distribution of scipy.stats."""
    units = units_required_table(RELIABILITIES, SURE, allowed_failures=ALLOWED)
    assert units.shape == (100, 100, 6)
    assert units.dtype == np.int64
    limit = 1 - SURE
    assert (stats.binom.cdf(ALLOWED, units, 1 - RELIABILITIES) <= limit * (1 + 1e-9)).all()
    assert (stats.binom.cdf(ALLOWED, units - 1, 1 - RELIABILITIES) > limit * (1 - 1e-9)).all()


def test_every_cell_is_the_single_answer() -> None:
    part = (RELIABILITIES[::9], SURE[:, ::9], ALLOWED)
    units = units_required_table(*part[:2], allowed_failures=part[2])
    assert (units == one_by_one(*part)).all()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.one_of(
                st.floats(1e-6, 0.999999),
                st.floats(-13, -1).map(lambda x: 1 - 10**x),
                st.floats(-200, -1).map(lambda x: 10**x),
            ),
            st.one_of(st.floats(1e-9, 0.999999), st.floats(-14, -1).map(lambda x: 1 - 10**x)),
            st.one_of(st.integers(0, 20), st.integers(0, 2000)),
        ),
        min_size=1,
        max_size=20,
    )
)
def test_cells_from_any_corner_are_the_single_answers(
    cells: list[tuple[float, float, int]],
) -> None:
    reliability, confidence, allowed = (np.array(values) for values in zip(*cells, strict=True))
    units = units_required_table(reliability, confidence, allowed_failures=allowed)
    assert (units == one_by_one(reliability, confidence, allowed)).all()


@pytest.mark.parametrize("allowed", [0, 1, 4, 30])
def test_a_confidence_of_a_finished_test_leads_back_to_its_units(allowed: int) -> None:
    """Every cell lies at the limit, where one rounding error more would cost a unit."""
    reliability = np.array([0.5, 0.73, 0.9, 0.95, 0.99])
    units = np.arange(allowed + 2, allowed + 42)
    shown = np.array(
        [[confidence_shown(int(n), allowed, float(r)) for n in units] for r in reliability]
    )
    usable = (shown > 1e-6) & (shown < 1 - 1e-6)
    table = units_required_table(
        reliability[:, None], np.where(usable, shown, 0.5), allowed_failures=allowed
    )
    assert (table == units)[usable].all()


def test_exact_boundaries_are_not_exceeded_by_a_unit() -> None:
    """0.9 to the power n is a decimal: its complement asks for exactly n units."""
    exact = [float(1 - Fraction(9, 10) ** n) for n in range(1, 40)]
    assert units_required_table(0.9, exact, allowed_failures=0).tolist() == list(range(1, 40))


def test_the_arguments_may_have_any_shapes_that_broadcast() -> None:
    alone = units_required_table(0.9, 0.9, allowed_failures=1)
    assert alone.shape == ()
    assert int(alone) == 38
    assert units_required_table([[0.9]], [0.9], allowed_failures=0).shape == (1, 1)
    assert units_required_table(np.empty((0, 1)), [0.9], allowed_failures=0).shape == (0, 1)
    by_row = units_required_table(0.9, [0.5, 0.9], allowed_failures=[[0], [1], [2]])
    assert by_row.tolist() == one_by_one(0.9, [[0.5, 0.9]], [[0], [1], [2]]).tolist()
    many = np.arange(100)
    in_a_line = units_required_table(0.9, 0.9, allowed_failures=many)
    assert in_a_line.tolist() == one_by_one(0.9, 0.9, many).tolist()


def test_units_rise_with_each_demand() -> None:
    units = units_required_table(RELIABILITIES[::4], SURE[:, ::4], allowed_failures=ALLOWED)
    assert (np.diff(units, axis=0) >= 0).all()
    assert (np.diff(units, axis=1) >= 0).all()
    assert (np.diff(units, axis=2) >= 1).all()


@pytest.mark.parametrize("allowed", [0, 2, 40])
def test_the_chance_of_passing_agrees_with_the_general_library(allowed: int) -> None:
    units = np.arange(1, 221, 7)[:, None]
    reliability = np.linspace(0.5, 0.9999, 101)
    table = chance_of_passing_table(units, allowed_failures=allowed, reliability=reliability)
    referee = stats.binom.cdf(allowed, units, 1 - reliability)
    assert table == pytest.approx(referee, rel=1e-10, abs=1e-300)


def test_the_chance_of_passing_takes_a_plan_per_row() -> None:
    units, allowed = np.array([[22], [38], [30_000]]), np.array([[0], [1], [25]])
    table = chance_of_passing_table(units, allowed_failures=allowed, reliability=[0.9, 0.999])
    referee = stats.binom.cdf(allowed, units, 1 - np.array([0.9, 0.999]))
    assert table == pytest.approx(referee, rel=1e-9, abs=1e-300)
    assert chance_of_passing_table(3, allowed_failures=3, reliability=0.5) == 1.0


@settings(max_examples=40)
@given(st.integers(1, 200), st.integers(0, 10), st.floats(0.05, 0.98))
def test_a_planned_lot_at_the_requirement_passes_with_the_remaining_risk(
    units: int, allowed: int, reliability: float
) -> None:
    if units > allowed:
        chance = chance_of_passing_table(units, allowed_failures=allowed, reliability=reliability)
        shown = confidence_shown(units, allowed, reliability)
        assert float(chance) == pytest.approx(1 - shown, abs=1e-12)


@pytest.mark.parametrize("allowed", [0, 2, 40])
def test_a_lot_that_never_fails_passes_for_certain(allowed: int) -> None:
    table = chance_of_passing_table([[3], [500]], allowed_failures=allowed, reliability=[0.9, 1.0])
    assert table[:, 1].tolist() == [1.0, 1.0]
    assert table[:, 0] == pytest.approx(stats.binom.cdf(allowed, [3, 500], 0.1), rel=1e-9)


@pytest.mark.parametrize("reliability", [0.0, 1.000001, math.nan])
def test_a_chance_of_passing_needs_a_true_reliability_above_0_and_at_most_1(
    reliability: float,
) -> None:
    with pytest.raises(OutsideDomainError, match="reliability must be numbers above 0, at most 1"):
        chance_of_passing_table(22, allowed_failures=0, reliability=reliability)


def test_values_that_cannot_be_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="reliability must be numbers strictly between"):
        units_required_table([0.9, 1.0], 0.9, allowed_failures=0)
    with pytest.raises(OutsideDomainError, match=r"confidence must be .* got nan"):
        units_required_table(0.9, [math.nan], allowed_failures=0)
    with pytest.raises(OutsideDomainError, match="allowed_failures must be whole numbers"):
        units_required_table(0.9, 0.9, allowed_failures=[0, -1])
    with pytest.raises(OutsideDomainError, match="allowed_failures must be whole numbers"):
        units_required_table(0.9, 0.9, allowed_failures=1.0)
    with pytest.raises(OutsideDomainError, match="whole numbers of at most"):
        units_required_table(0.9, 0.9, allowed_failures=2**60)
    with pytest.raises(OutsideDomainError, match="arrays that broadcast"):
        units_required_table([0.9, 0.8], [0.9, 0.8, 0.7], allowed_failures=0)
    with pytest.raises(OutsideDomainError, match="small enough to be counted"):
        units_required_table(1 - 2**-53, 0.9, allowed_failures=2**40)
    with pytest.raises(OutsideDomainError, match=r"reliability must be .* different kinds"):
        units_required_table([[0.9], [0.9, 0.8]], 0.9, allowed_failures=0)
