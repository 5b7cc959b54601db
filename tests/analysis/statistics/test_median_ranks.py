"""References: Johnson's rule step by step in fractions, the beta distribution of scipy.stats."""

from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import life_records, lives_with_run_outs
from analysis.statistics.median_ranks import adjusted_ranks, median_ranks, plotting_positions
from schemas.estimates import NotEstimable
from schemas.ranks import PlottingPositions

LOT = st.lists(st.tuples(st.integers(1, 12), st.booleans()), min_size=1, max_size=40)


def ranks_step_by_step(lot: list[tuple[int, bool]]) -> list[Fraction]:
    """The rule as it is taught: rise = (n + 1 - last rank) / (1 + units from here on)."""
    n, last, ranks = len(lot), Fraction(0), []
    for place, (_, failed) in enumerate(sorted(lot, key=lambda life: (life[0], not life[1]))):
        if failed:
            last += (n + 1 - last) / (1 + n - place)
            ranks.append(last)
    return ranks


def positions(lot: list[tuple[int, bool]], rule: Any) -> PlottingPositions:
    records = lives_with_run_outs(
        [float(life) for life, _ in lot], np.array([failed for _, failed in lot], dtype=bool)
    )
    found = plotting_positions(records, rank_rule=rule)
    assert isinstance(found, PlottingPositions)
    return found


@given(LOT.filter(lambda lot: any(failed for _, failed in lot)))
@settings(max_examples=40, deadline=None)
def test_ranks_are_those_of_the_rule_taken_step_by_step(lot: list[tuple[int, bool]]) -> None:
    found = positions(lot, "MEDIAN")
    expected = ranks_step_by_step(lot)
    assert found.adjusted_ranks == pytest.approx([float(rank) for rank in expected], rel=1e-13)
    assert found.life_cycles == tuple(sorted(float(life) for life, failed in lot if failed))
    assert found.failure_count == len(expected) and found.unit_count == len(lot)


@given(LOT.filter(lambda lot: any(failed for _, failed in lot)))
@settings(max_examples=40, deadline=None)
def test_a_median_rank_halves_the_distribution_of_its_place(lot: list[tuple[int, bool]]) -> None:
    found = positions(lot, "MEDIAN")
    for rank, position in zip(found.adjusted_ranks, found.positions, strict=True):
        assert stats.beta.cdf(position, rank, len(lot) - rank + 1) == pytest.approx(0.5, abs=1e-11)


@given(LOT.filter(lambda lot: any(failed for _, failed in lot)))
@settings(max_examples=40, deadline=None)
def test_the_approximation_lies_close_and_both_rise(lot: list[tuple[int, bool]]) -> None:
    exact, close = positions(lot, "MEDIAN").positions, positions(lot, "BENARD").positions
    # Common practice: off by about 1 % at the ends of a small lot, less elsewhere.
    assert np.abs(np.array(exact) - np.array(close)).max() < 0.006
    assert all(np.diff(exact) > 0) and all(np.diff(close) > 0)


@pytest.mark.parametrize("rule", ["MEDIAN", "BENARD"])
def test_a_complete_lot_is_symmetric_about_one_half(rule: Any) -> None:
    found = positions([(life, True) for life in range(1, 12)], rule).positions
    assert np.array(found) + np.array(found)[::-1] == pytest.approx(1.0, abs=1e-14)


def test_published_ranks_of_a_lot_with_units_that_stopped() -> None:
    # R. B. Abernethy, The New Weibull Handbook, the lot behind figure 2-5 (ranks computed).
    lot = [(30, True), (49, True), (82, True), (90, True), (96, True), (10, False), (45, False)]
    found = positions([*lot, (100, False)], "BENARD")
    assert found.adjusted_ranks == (1.125, 2.4375, 3.75, 5.0625, 6.375)


def test_many_units_keep_the_digits_of_small_ranks() -> None:
    ranks = adjusted_ranks(lives_with_run_outs([5.0, 9.0], [True, False], counts=[2, 10**9]))
    assert list(ranks) == pytest.approx([1.0, 2.0], rel=1e-14)


def test_no_failure_and_a_bracket_have_no_rank() -> None:
    none = plotting_positions(lives_with_run_outs([5.0], [False]), rank_rule="MEDIAN")
    bracket = plotting_positions(life_records([5.0], [6.0]), rank_rule="MEDIAN")
    assert none == NotEstimable(reason="NO_FAILURES")
    assert bracket == NotEstimable(reason="BRACKETED_LIVES")


@pytest.mark.parametrize(
    ("ranks", "unit_count", "rule"),
    [([0.5], 5, "MEDIAN"), ([6.0], 5, "BENARD"), ([1.0], 5, "HAZEN"), ([1.0], 0, "MEDIAN")],
)
def test_what_is_no_rank_is_refused(ranks: list[float], unit_count: int, rule: Any) -> None:
    with pytest.raises(OutsideDomainError):
        median_ranks(np.array(ranks), unit_count=unit_count, rank_rule=rule)
