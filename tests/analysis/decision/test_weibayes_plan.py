"""References: chi-square quantiles of scipy.stats, sums written out, a fine grid of shapes."""

import math

import numpy as np
import pytest
from lives import outcome, spec
from scipy import stats

from analysis.decision.counting import counted_by_plan
from analysis.decision.terms import Terms, terms_of
from analysis.decision.weibayes_plan import (
    read_clock,
    shape_of,
    stand_by_target_lives,
    weibayes_view,
)
from analysis.errors import OutsideDomainError
from schemas.lives import Outcome


def terms(
    shape: tuple[float, float, float] = (2.0, 2.2, 2.6),
    *,
    allowed: int = 0,
    credit: str = "TO_PLANNED",
) -> Terms:
    each = spec(
        "WEIBAYES",
        (0.95, 0.9, 100_000),
        shape=shape,
        plan={
            "unit_count": 12,
            "allowed_failures": allowed,
            "planned_cycles": 200_000,
            "credit": credit,
        },
    )
    return terms_of(each, each.requirement[0], after_data=False)


def test_twelve_units_to_twice_the_target_stand_at_48_target_lives() -> None:
    standing = stand_by_target_lives([outcome("RUN_OUT", 200_000)] * 12, terms())
    assert standing.target_lives == 48.0
    required = stats.chi2.ppf(0.9, 2) / (-2.0 * math.log(0.95))
    assert standing.target_lives_required == pytest.approx(required, rel=1e-12)
    assert standing.is_demonstrated
    assert standing.reliability_upper == 1.0


def test_the_requirement_is_that_of_the_allowed_failures_not_of_those_seen() -> None:
    standing = stand_by_target_lives([outcome("RUN_OUT", 200_000)] * 12, terms(allowed=1))
    required = stats.chi2.ppf(0.9, 4) / (-2.0 * math.log(0.95))
    assert standing.target_lives_required == pytest.approx(required, rel=1e-12)
    assert not standing.is_demonstrated


def test_the_worst_shape_may_lie_inside_the_range() -> None:
    results = [outcome("RUNNING", 60_000)] * 10 + [outcome("RUN_OUT", 150_000)] * 3
    clock = read_clock(counted_by_plan(results, terms((1.0, 2.0, 3.0))), terms((1.0, 2.0, 3.0)))
    shapes = np.linspace(1.0, 3.0, 200_001)
    sums = 10 * 0.6**shapes + 3 * 1.5**shapes
    assert clock.least.target_lives == pytest.approx(sums.min(), rel=1e-9)
    assert clock.least.shape == pytest.approx(shapes[sums.argmin()], abs=1e-5)


def test_the_upper_limit_takes_the_largest_sum_the_lives_allow() -> None:
    # L02 of the scenario: eleven run out, one failed; by hand 11 * 2**2.6 + 1.63619**2.6.
    results = [outcome("RUN_OUT", 200_000)] * 11 + [outcome("FAILED", 163_619)]
    largest = 11 * 2.0**2.6 + 1.63619**2.6
    upper = math.exp(-stats.chi2.ppf(0.1, 2) / (2.0 * largest))
    view = weibayes_view(results, terms())
    assert view.reliability_upper_largest == pytest.approx(upper, rel=1e-12)
    # At the headline shape 2 alone it would be 0.998; caution takes the larger 0.9985.
    assert round(view.reliability_upper_largest, 4) == 0.9985


def test_undecided_units_are_survivors_for_the_upper_limit() -> None:
    half = [outcome("FAILED", 50_000)] * 2 + [outcome("RUNNING", 50_000)] * 10
    whole = [outcome("FAILED", 50_000)] * 2 + [outcome("RUN_OUT", 200_000)] * 10
    uppers = [stand_by_target_lives(each, terms()).reliability_upper for each in (half, whole)]
    assert uppers[0] == uppers[1]


def test_a_bracket_across_the_planned_cycles_is_no_failure_for_the_upper_limit() -> None:
    bracket = [outcome("FAILED_BETWEEN", (190_000, 210_000))]
    standing = stand_by_target_lives(bracket, terms())
    assert standing.failure_count == 1
    assert standing.reliability_upper == 1.0


def test_credited_once_the_clock_counts_units_that_completed_the_target() -> None:
    results: list[Outcome] = [
        outcome("RUN_OUT", 200_000),
        outcome("FAILED", 150_000),
        outcome("FAILED", 90_000),
        outcome("RUNNING", 99_999),
    ]
    view = weibayes_view(results, terms(credit="ONCE_AT_TARGET"))
    assert view.target_lives_worst == view.target_lives_at_high == 2.0
    assert view.failure_count == 1
    # One certain failure among four units, each worth one target life at the most.
    upper = math.exp(-stats.chi2.ppf(0.1, 2) / 8.0)
    assert view.reliability_upper_largest == pytest.approx(upper, rel=1e-12)


def test_rows_outside_the_range_are_marked_and_come_beside_the_range() -> None:
    view = weibayes_view([outcome("RUN_OUT", 200_000)] * 12, terms((2.0, 2.0, 2.6)))
    assert [(row.shape, row.outside_range) for row in view.by_shape] == [
        (1.0, True),
        (1.8, True),
        (2.0, False),
        (2.6, False),
    ]
    # The scenario's figures for twelve survivors of two target lives, common practice.
    assert [round(row.reliability_lower, 3) for row in view.by_shape] == [
        round(0.1 ** (1.0 / (12 * 2.0**shape)), 3) for shape in (1.0, 1.8, 2.0, 2.6)
    ]


def test_a_row_for_display_that_falls_on_the_range_is_not_said_twice() -> None:
    view = weibayes_view([outcome("RUN_OUT", 200_000)], terms((1.0, 1.2, 2.0)))
    assert [row.shape for row in view.by_shape] == [1.0, 1.2, 2.0]


def test_before_the_first_cycle_nothing_is_shown() -> None:
    view = weibayes_view([], terms())
    assert view.target_lives_worst == 0.0
    assert view.reliability_lower_worst == 0.0
    assert view.reliability_upper_largest == 1.0


def test_a_plan_by_target_lives_without_a_shape_is_refused() -> None:
    each = spec(
        "ATTRIBUTE",
        (0.95, 0.9, 100),
        shape=None,
        plan={"unit_count": 45, "allowed_failures": 0, "planned_cycles": 100},
    )
    with pytest.raises(OutsideDomainError, match="shape"):
        shape_of(terms_of(each, each.requirement[0], after_data=False))
