"""References: sums of squares by hand (shape 2)."""

from typing import Any

import pytest
from lives import outcome, spec

from analysis.decision.counting import LotState
from analysis.decision.remaining import most_of_each_kind, ways_within_plan
from analysis.decision.terms import Terms, terms_of
from schemas.decisions import WayToFinish
from schemas.lives import Outcome

RUN_OUT = outcome("RUN_OUT", 200_000)
NOT_STARTED = outcome("RUNNING", 0)


def terms(kind: Any = "WEIBAYES", *, units: int = 12, allowed: int = 0, **plan: Any) -> Terms:
    """By default R 0.95, C 0.90 at 100 000, shape 2: 44.89 target lives."""
    content: dict[str, Any] = {"unit_count": units, "allowed_failures": allowed}
    content |= {"credit": "TO_PLANNED"} if kind == "WEIBAYES" else {}
    content |= {"planned_cycles": 200_000} | plan
    shape = (2.0, 2.0, 2.0) if kind == "WEIBAYES" else None
    each = spec(kind, (0.95, 0.9, 100_000), shape=shape, plan=content)
    return terms_of(each, each.requirement[0], after_data=False)


def ways(results: list[Outcome], plan: Terms, due: tuple[int, ...] = ()) -> list[WayToFinish]:
    state = LotState(
        outcomes=results,
        serials=[f"U-{number:03}" for number in range(1, len(results) + 1)],
        place_count=len(results),
        has_started=True,
        end_checks_due=[f"U-{number:03}" for number in due],
    )
    return ways_within_plan(state, plan)


def test_four_more_units_finish_a_plan_of_twelve() -> None:
    # 8 * 4 = 32 in hand, 44.89 needed: 12.89 missing, 4 per unit.
    (way,) = ways([RUN_OUT] * 8 + [NOT_STARTED] * 4, terms())
    assert (way.kind, way.unit_count, way.cycles_each, way.cycles_in_all) == (
        "FINISH_DECLARED_UNITS",
        4,
        200_000,
        800_000,
    )
    assert way.target_lives_missing == pytest.approx(12.8905675, abs=1e-6)


def test_declared_units_that_nobody_has_listed_yet_are_units_to_finish() -> None:
    assert ways([RUN_OUT] * 8, terms()) == ways([RUN_OUT] * 8 + [NOT_STARTED] * 4, terms())


def test_the_fewest_units_are_those_with_most_to_gain() -> None:
    # In hand 9 * 4 + 3.61 + 1 + 0 = 40.61; the one not started gains 4: 44.61, still short;
    # with the one at the target, 3 more: 47.61.
    running = [outcome("RUNNING", 190_000), outcome("RUNNING", 100_000), NOT_STARTED]
    (way,) = ways([RUN_OUT] * 9 + running, terms())
    assert (way.unit_count, way.cycles_each, way.cycles_in_all) == (2, 200_000, 300_000)


def test_units_half_way_are_finished_from_where_they_stand() -> None:
    # L08 of the scenario: 20 units at 120 000, one failure allowed, 75.83 needed, 28.8 in
    # hand; each adds 4 - 1.44 = 2.56, so 19 units are needed (18.4 rounded up).
    (way,) = ways([outcome("RUNNING", 120_000)] * 20, terms(units=20, allowed=1))
    assert (way.unit_count, way.cycles_each, way.cycles_in_all) == (19, 80_000, 1_520_000)
    assert way.target_lives_missing == pytest.approx(75.83 - 28.8, abs=0.005)


def test_checks_that_suffice_are_all_that_is_asked() -> None:
    unchecked = outcome("RUNNING", 200_000, credited=175_000)
    (way,) = ways([RUN_OUT] * 8 + [unchecked] * 4, terms(), due=(9, 10, 11, 12))
    assert (way.kind, way.unit_count) == ("CHECK_AT_END", 4)
    assert way.unit_serials == ["U-009", "U-010", "U-011", "U-012"]


def test_spares_are_asked_for_when_the_declared_units_do_not_suffice() -> None:
    # Three void: 9 * 4 = 36, 8.89 missing, 3 spares to 200 000.
    void = [outcome("VOID", 0)] * 3
    (way,) = ways([RUN_OUT] * 9 + void, terms(max_units=15))
    assert (way.kind, way.unit_count, way.cycles_each, way.cycles_in_all) == (
        "ADD_UNITS",
        3,
        200_000,
        600_000,
    )


def test_spares_that_would_not_suffice_are_not_asked_for() -> None:
    assert ways([RUN_OUT] * 9 + [outcome("VOID", 0)] * 3, terms(max_units=14)) == []


def test_credited_once_units_run_to_the_target_only() -> None:
    plan = terms(units=46, allowed=0, credit="ONCE_AT_TARGET")
    done, half = outcome("RUN_OUT", 200_000), outcome("RUNNING", 60_000)
    # 45 units must complete the target; 40 have, two run at 60 000, four are not started.
    (way,) = ways([done] * 40 + [half] * 2 + [NOT_STARTED] * 4, plan)
    assert (way.unit_count, way.cycles_each) == (5, 100_000)


def test_a_plan_by_counting_needs_the_units_that_can_still_decide_it() -> None:
    plan = terms("ATTRIBUTE", units=45, planned_cycles=100_000)
    done, half = outcome("RUN_OUT", 100_000), outcome("RUNNING", 60_000)
    (way,) = ways([done] * 40 + [half] * 2, plan)
    assert (way.kind, way.unit_count, way.cycles_each, way.cycles_in_all) == (
        "FINISH_DECLARED_UNITS",
        5,
        100_000,
        2 * 40_000 + 3 * 100_000,
    )
    assert not way.target_lives_missing


def test_a_plan_by_counting_with_a_failure_left_leaves_the_longest_unit_out() -> None:
    plan = terms("ATTRIBUTE", units=77, allowed=1, planned_cycles=100_000)
    done = [outcome("RUN_OUT", 100_000)] * 75
    running = [outcome("RUNNING", 90_000), outcome("RUNNING", 10_000)]
    (way,) = ways(done + running, plan)
    assert (way.unit_count, way.cycles_in_all) == (1, 10_000)


def test_a_plan_by_counting_asks_for_spares_in_place_of_void_units() -> None:
    void = [outcome("VOID", 0)] * 2
    done = [outcome("RUN_OUT", 100_000)] * 43
    plan = terms("ATTRIBUTE", units=45, planned_cycles=100_000, max_units=47)
    (way,) = ways(done + void, plan)
    assert (way.kind, way.unit_count, way.cycles_each) == ("ADD_UNITS", 2, 100_000)


def test_a_plan_by_counting_waits_for_its_checks() -> None:
    plan = terms("ATTRIBUTE", units=45, planned_cycles=100_000)
    unchecked = outcome("RUNNING", 100_000, credited=75_000)
    (way,) = ways([outcome("RUN_OUT", 100_000)] * 44 + [unchecked], plan, due=(45,))
    assert (way.kind, way.unit_serials) == ("CHECK_AT_END", ["U-045"])


def test_of_several_requirements_the_one_that_asks_most_is_told() -> None:
    two, five = (WayToFinish(kind="ADD_UNITS", unit_count=count) for count in (2, 5))
    check = WayToFinish(kind="CHECK_AT_END", unit_count=1)
    assert most_of_each_kind([two, check, five]) == [five, check]
