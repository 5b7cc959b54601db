"""References: counts on the fingers."""

import pytest
from lives import outcome, spec

from analysis.decision.counting import (
    LotState,
    counted_by_plan,
    counted_in_full,
    may_have_failed_by,
    plan_credit,
    surely_failed_by,
    tally_at,
)
from analysis.decision.terms import Terms, terms_of
from schemas.lives import Outcome


def terms(credit: str = "TO_PLANNED") -> Terms:
    each = spec(
        "WEIBAYES",
        (0.95, 0.9, 100),
        shape=(2.0, 2.2, 2.6),
        plan={"unit_count": 4, "allowed_failures": 0, "planned_cycles": 200, "credit": credit},
    )
    return terms_of(each, each.requirement[0], after_data=False)


@pytest.mark.parametrize(
    ("result", "may_have", "surely"),
    [
        (outcome("FAILED", 99), True, True),
        (outcome("FAILED", 100), True, True),
        (outcome("FAILED", 101), False, False),
        (outcome("FAILED_BETWEEN", (40, 100)), True, True),
        (outcome("FAILED_BETWEEN", (99, 150)), True, False),
        (outcome("FAILED_BETWEEN", (100, 150)), False, False),
        (outcome("RUN_OUT", 100), False, False),
        (outcome("RUNNING", 10), False, False),
    ],
)
def test_failures_at_a_count_of_100(result: Outcome, may_have: bool, surely: bool) -> None:
    assert may_have_failed_by(result, 100) is may_have
    assert surely_failed_by(result, 100) is surely


def test_a_bracket_without_stated_ends_lies_between_what_is_credited_and_the_most() -> None:
    bracket = outcome("FAILED_BETWEEN", (90, 120), cycles_low=None, cycles_high=None)
    assert may_have_failed_by(bracket, 100)
    assert not surely_failed_by(bracket, 100)


def test_a_tally_sorts_every_unit_once() -> None:
    tally = tally_at(
        [
            outcome("RUN_OUT", 200),
            outcome("FAILED", 150),  # after the count: a survivor at it
            outcome("FAILED", 50),
            outcome("FAILED_BETWEEN", (80, 120)),
            outcome("RUNNING", 60),
            outcome("RUNNING", 130, credited=90),  # not inspected since 90
            outcome("SUSPENDED", 70, has_ended=True),
            outcome("VOID", 0),
        ],
        100,
    )
    assert (tally.survivor_count, tally.failed_count, tally.surely_failed_count) == (2, 2, 1)
    assert (tally.decided_count, tally.pending_count, tally.unit_count) == (4, 2, 8)


def test_credit_stops_at_the_planned_cycles() -> None:
    results = [outcome("RUN_OUT", 230), outcome("FAILED", 150), outcome("RUNNING", 90, credited=80)]
    assert [plan_credit(each, terms()) for each in results] == [200, 150, 80]


def test_credited_once_a_unit_counts_the_target_or_nothing() -> None:
    results = [
        outcome("RUN_OUT", 230),
        outcome("FAILED", 150),
        outcome("FAILED", 100),
        outcome("RUNNING", 99),
        outcome("FAILED_BETWEEN", (99, 150)),
        outcome("FAILED_BETWEEN", (100, 150)),
    ]
    once = terms("ONCE_AT_TARGET")
    assert [plan_credit(each, once) for each in results] == [100, 100, 0, 0, 0, 100]
    assert plan_credit(results[3], once, at_cycles=100) == 100


def test_caution_credits_the_low_end_and_turned_round_the_high_end() -> None:
    lives = counted_by_plan(
        [
            outcome("RUN_OUT", 200),
            outcome("FAILED_BETWEEN", (120, 180)),
            outcome("FAILED_BETWEEN", (190, 210)),
            outcome("FAILED", 220),
            outcome("RUNNING", 50),
            outcome("VOID", 0),
        ],
        terms(),
    )
    assert lives.credited_cycles == [200, 120, 190, 200, 50, 0]
    assert lives.most_cycles == [200, 180, 200, 200, 200, 200]
    assert (lives.failure_count, lives.surely_failed_count) == (2, 1)


def test_credited_once_every_unit_may_have_used_up_a_whole_target_life() -> None:
    lives = counted_by_plan(
        [outcome("RUN_OUT", 200), outcome("FAILED", 20), outcome("RUNNING", 50)],
        terms("ONCE_AT_TARGET"),
    )
    assert lives.credited_cycles == [100, 0, 0]
    assert lives.most_cycles == [100, 100, 100]
    assert (lives.failure_count, lives.surely_failed_count) == (1, 1)


def test_whole_lives_count_failures_beyond_the_plan_too() -> None:
    lives = counted_in_full(
        [outcome("RUN_OUT", 230), outcome("FAILED", 220), outcome("RUNNING", 50)], terms()
    )
    assert lives.credited_cycles == [230, 220, 50]
    assert lives.most_cycles == [230, 220, 200]
    assert (lives.failure_count, lives.surely_failed_count) == (1, 1)


def test_a_lot_has_ended_when_all_its_places_are_taken_by_units_that_have_ended() -> None:
    def state(*results: Outcome, place_count: int) -> LotState:
        return LotState(
            outcomes=list(results),
            serials=[""] * len(results),
            place_count=place_count,
            has_started=True,
            end_checks_due=[],
        )

    ended = [outcome("RUN_OUT", 200)] * 4
    assert state(*ended, place_count=4).has_ended(terms())
    assert not state(*ended, place_count=3).has_ended(terms())
    assert not state(*ended[:3], outcome("RUNNING", 5), place_count=4).has_ended(terms())
