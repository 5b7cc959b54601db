"""References: binomial sums written out, powers by hand."""

import math

import pytest
from lives import outcome, spec

from analysis.decision.attribute import (
    attribute_view_at_planned,
    attribute_view_at_target,
    log_reliability_at_planned,
    reliability_at_planned,
    stand_by_counting,
    undecided_count,
)
from analysis.decision.counting import tally_at
from analysis.decision.terms import Terms, terms_of
from schemas.lives import Outcome


def terms(
    *,
    units: int = 22,
    allowed: int = 0,
    planned: int = 100,
    shape: tuple[float, float, float] | None = None,
) -> Terms:
    each = spec(
        "ATTRIBUTE",
        (0.9, 0.9, 100),
        shape=shape,
        plan={"unit_count": units, "allowed_failures": allowed, "planned_cycles": planned},
    )
    return terms_of(each, each.requirement[0], after_data=False)


def survivors(count: int, cycles: int = 100) -> list[Outcome]:
    return [outcome("RUN_OUT", cycles)] * count


def test_22_survivors_show_90_percent_with_90_percent_confidence_and_21_do_not() -> None:
    # 0.9**22 = 0.0985 and 0.9**21 = 0.1094: the success run of any textbook.
    assert stand_by_counting(survivors(22), terms()).is_demonstrated
    assert not stand_by_counting(survivors(21), terms(units=21)).is_demonstrated


def test_a_plan_is_not_done_before_all_its_units_are_decided() -> None:
    assert not stand_by_counting(survivors(22), terms(units=23)).is_demonstrated


def test_a_plan_is_done_early_when_the_rest_could_all_fail() -> None:
    plan = terms(units=38, allowed=1)  # 38 units with one failure: 0.0950 <= 0.1
    running = [outcome("RUNNING", 50)]
    assert stand_by_counting(survivors(37) + running, plan).is_demonstrated
    assert stand_by_counting(survivors(37), plan).is_demonstrated
    failed = [outcome("FAILED", 30)]
    assert not stand_by_counting(survivors(36) + failed + running, plan).is_demonstrated


def test_a_void_unit_decides_nothing() -> None:
    void = [outcome("VOID", 0)]
    assert not stand_by_counting(survivors(21) + void, terms()).is_demonstrated
    assert stand_by_counting(survivors(22) + void, terms()).is_demonstrated


def test_undecided_are_units_that_run_and_places_without_an_answer() -> None:
    results = [*survivors(3), outcome("RUNNING", 5), outcome("VOID", 0)]
    assert undecided_count(tally_at(results, 100), 6) == 3
    assert undecided_count(tally_at(results, 100), 3) == 1


def test_beyond_the_target_the_lowest_shape_asks_most_of_a_lot_to_be_accepted() -> None:
    plan = terms(planned=200, shape=(1.5, 1.8, 2.2))
    assert reliability_at_planned(plan, hardest=True) == pytest.approx(0.9 ** (2**1.5), rel=1e-14)
    assert reliability_at_planned(plan, hardest=False) == pytest.approx(0.9 ** (2**2.2), rel=1e-14)


def test_short_of_the_target_the_highest_shape_asks_most() -> None:
    plan = terms(planned=50, shape=(1.5, 1.8, 2.2))
    assert reliability_at_planned(plan, hardest=True) == pytest.approx(0.9 ** (0.5**2.2), rel=1e-14)


def test_at_the_target_the_requirement_is_itself_whatever_the_shape() -> None:
    assert reliability_at_planned(terms(), hardest=True) == 0.9
    assert reliability_at_planned(terms(shape=(1.5, 1.8, 2.2)), hardest=True) == 0.9
    assert log_reliability_at_planned(terms(), hardest=False) == math.log(0.9)


def test_running_longer_needs_fewer_units() -> None:
    # 0.9**(2**1.5) = 0.7423; 0.7423**8 = 0.0922 <= 0.1 and 0.7423**7 = 0.1242.
    shape = (1.5, 1.8, 2.2)
    enough = terms(units=8, planned=200, shape=shape)
    short = terms(units=7, planned=200, shape=shape)
    assert stand_by_counting(survivors(8, 200), enough).is_demonstrated
    assert not stand_by_counting(survivors(7, 200), short).is_demonstrated


def test_every_failure_up_to_the_planned_cycles_counts() -> None:
    plan = terms(units=8, planned=200, shape=(1.5, 1.8, 2.2))
    results = [*survivors(7, 200), outcome("FAILED", 150)]
    assert stand_by_counting(results, plan).failure_count == 1
    late = [*survivors(7, 200), outcome("FAILED", 201)]
    assert stand_by_counting(late, plan).failure_count == 0


def test_the_view_takes_a_bracket_across_the_target_for_both() -> None:
    results = [*survivors(5), outcome("FAILED_BETWEEN", (50, 120))]
    view = attribute_view_at_target(results, terms())
    assert (view.decided_count, view.failure_count, view.survivor_count_for_upper) == (6, 1, 6)
    lower = view.reliability_lower_of_decided
    # P(at most one failure in six) = 6 R**5 - 5 R**6 is 1 - C at the limit.
    assert 6 * lower**5 - 5 * lower**6 == pytest.approx(0.1, rel=1e-12)
    assert view.reliability_upper == 1.0


def test_the_upper_limit_takes_undecided_units_for_survivors() -> None:
    results = [outcome("FAILED", 50), *[outcome("RUNNING", 10)] * 7]
    view = attribute_view_at_target(results, terms())
    assert (view.decided_count, view.survivor_count_for_upper) == (1, 7)
    assert view.reliability_lower_of_decided == 0.0
    # P(no failure in eight) = R**8 is C at the limit.
    assert view.reliability_upper**8 == pytest.approx(0.9, rel=1e-12)


def test_nothing_decided_shows_nothing() -> None:
    view = attribute_view_at_target([], terms())
    assert (view.reliability_lower_of_decided, view.reliability_upper) == (0.0, 1.0)


def test_the_view_at_the_planned_cycles_says_what_is_required_there() -> None:
    view = attribute_view_at_planned(
        survivors(8, 200), terms(units=8, planned=200, shape=(1.5, 1.8, 2.2))
    )
    assert view.at_cycles == 200
    assert view.reliability_required == pytest.approx(0.9 ** (2**1.5), rel=1e-14)
    assert view.reliability_lower_of_decided == pytest.approx(0.1 ** (1 / 8), rel=1e-14)
