"""The rule itself: which verdict, which kind of refusal, which reasons."""

import pytest
from lives import outcome, spec

from analysis.decision.counting import LotState
from analysis.decision.reasons import Judgement, about_units
from analysis.decision.terms import Terms, terms_of
from analysis.decision.verdict import judge, settle, worst_of
from schemas.decisions import Reason
from schemas.lives import Outcome


def terms(*, allowed: int = 0, max_units: int = 12, before_data: bool = False) -> Terms:
    each = spec(
        "WEIBAYES",
        (0.95, 0.9, 100_000),
        shape=(2.0, 2.0, 2.6),
        plan={
            "unit_count": 12,
            "allowed_failures": allowed,
            "planned_cycles": 200_000,
            "credit": "TO_PLANNED",
            "max_units": max_units,
        },
        spec_before_data=before_data,
    )
    return terms_of(each, each.requirement[0], after_data=True)


def counting_terms(*, units: int, allowed: int = 0) -> Terms:
    each = spec(
        "ATTRIBUTE",
        (0.9, 0.9, 100_000),
        shape=None,
        plan={"unit_count": units, "allowed_failures": allowed, "planned_cycles": 100_000},
    )
    return terms_of(each, each.requirement[0], after_data=False)


def state(*results: Outcome, due: tuple[str, ...] = (), started: bool = True) -> LotState:
    return LotState(
        outcomes=list(results),
        serials=[f"U-{number:03}" for number in range(1, len(results) + 1)],
        place_count=len(results),
        has_started=started,
        end_checks_due=list(due),
    )


def said(judgement: Judgement) -> tuple[str, str | None, list[str]]:
    return judgement.verdict, judgement.kind, [reason.code for reason in judgement.reasons]


RUN_OUT = outcome("RUN_OUT", 200_000)
RUNNING = outcome("RUNNING", 100_000)


def test_a_lot_that_reaches_its_sum_is_accepted_without_reasons() -> None:
    assert said(judge(state(*[RUN_OUT] * 12), terms())) == ("ACCEPT", None, [])


def test_the_sum_decides_and_not_the_number_of_units() -> None:
    # Twelve units to twice the target give 48, eleven give 44: 44.89 are needed.
    assert judge(state(*[RUN_OUT] * 11, RUNNING), terms()).verdict == "ACCEPT"
    assert judge(state(*[RUN_OUT] * 11), terms()).verdict == "CONTINUE"


def test_one_failure_more_than_allowed_refuses_although_the_limit_still_meets_the_requirement() -> (
    None
):
    judgement = judge(state(*[RUN_OUT] * 30, outcome("FAILED", 190_000)), terms(max_units=40))
    assert said(judgement) == ("REJECT", "NOT_DEMONSTRATED", ["ALLOWED_FAILURES_EXCEEDED"])


def test_a_refusal_comes_at_once_while_units_still_run() -> None:
    judgement = judge(state(outcome("FAILED", 150_000), *[RUNNING] * 11), terms())
    assert judgement.verdict == "REJECT"


def test_a_failure_beyond_the_planned_cycles_refuses_nothing() -> None:
    assert judge(state(*[RUN_OUT] * 11, outcome("FAILED", 200_001)), terms()).verdict == "ACCEPT"
    assert judge(state(*[RUN_OUT] * 11, outcome("FAILED", 200_000)), terms()).verdict == "REJECT"


def test_many_early_failures_show_the_lot_below_its_requirement() -> None:
    judgement = judge(state(*[outcome("FAILED", 60_000)] * 6, *[RUN_OUT] * 6), terms())
    assert said(judgement) == (
        "REJECT",
        "SHOWN_BELOW_REQUIREMENT",
        ["ALLOWED_FAILURES_EXCEEDED", "UPPER_LIMIT_BELOW_REQUIREMENT"],
    )


@pytest.mark.parametrize("at", [60_000, 250_000])
def test_one_critical_failure_refuses_at_once_even_where_a_failure_is_allowed(at: int) -> None:
    burst = outcome("FAILED", at, critical=True)
    judgement = judge(state(*[RUN_OUT] * 19, burst), terms(allowed=1, max_units=20))
    assert said(judgement) == ("REJECT", "NOT_DEMONSTRATED", ["CRITICAL_FAILURE"])
    assert judgement.reasons[0].unit_serials == ["U-020"]


def test_a_lot_whose_units_have_all_ended_short_is_refused() -> None:
    judgement = judge(state(*[RUN_OUT] * 9, *[outcome("VOID", 0)] * 3), terms())
    assert said(judgement) == ("REJECT", "NOT_DEMONSTRATED", ["TARGET_LIVES_SHORT"])
    assert judgement.reasons[0].target_lives == 36.0


def test_places_for_spares_keep_a_short_lot_going() -> None:
    judgement = judge(state(*[RUN_OUT] * 9, *[outcome("VOID", 0)] * 3), terms(max_units=15))
    assert said(judgement) == ("CONTINUE", None, ["PLAN_NOT_FINISHED"])


def test_a_stopped_unit_that_may_resume_keeps_a_short_lot_going() -> None:
    # 9 * 4 + 3 * 1.7**2 = 44.67 of 44.89 target lives.
    stopped = outcome("SUSPENDED", 170_000)
    taken_off = outcome("SUSPENDED", 170_000, has_ended=True)
    assert judge(state(*[RUN_OUT] * 9, *[stopped] * 3), terms()).verdict == "CONTINUE"
    assert judge(state(*[RUN_OUT] * 9, *[taken_off] * 3), terms()).verdict == "REJECT"


def test_a_missing_check_at_the_end_is_said_beside_the_unfinished_plan() -> None:
    unchecked = outcome("RUNNING", 200_000, credited=175_000)
    judgement = judge(state(*[unchecked] * 12, due=("U-001", "U-002")), terms())
    assert said(judgement) == ("CONTINUE", None, ["PLAN_NOT_FINISHED", "END_CHECK_DUE"])
    assert judgement.reasons[1].unit_serials == ["U-001", "U-002"]


def test_a_lot_without_a_cycle_has_no_data() -> None:
    nothing = [outcome("RUNNING", 0)] * 12
    for lot in (state(*nothing, started=False), state(started=False)):
        assert said(judge(lot, terms())) == ("CONTINUE", None, ["NO_DATA"])


def test_a_specification_that_came_late_bars_acceptance_and_nothing_else() -> None:
    plan = terms(before_data=True)
    accepted = judge(state(*[RUN_OUT] * 12), plan)
    assert said(accepted) == ("HOLD", None, ["SPEC_AFTER_DATA"])
    refused = judge(state(*[RUN_OUT] * 11, outcome("FAILED", 5)), plan)
    assert refused.verdict == "REJECT"


def test_a_plan_by_counting_accepts_refuses_and_goes_on() -> None:
    done = outcome("RUN_OUT", 100_000)
    failed = outcome("FAILED", 90_000)
    running = outcome("RUNNING", 90_000)
    plan = counting_terms(units=22)
    assert said(judge(state(*[done] * 22), plan)) == ("ACCEPT", None, [])
    assert said(judge(state(*[done] * 21, running), plan)) == (
        "CONTINUE",
        None,
        ["PLAN_NOT_FINISHED"],
    )
    assert said(judge(state(failed, *[running] * 21), plan)) == (
        "REJECT",
        "NOT_DEMONSTRATED",
        ["ALLOWED_FAILURES_EXCEEDED"],
    )
    assert said(judge(state(*[done] * 21, outcome("VOID", 0)), plan)) == (
        "REJECT",
        "NOT_DEMONSTRATED",
        ["TARGET_LIVES_SHORT"],
    )


def test_a_plan_by_counting_shows_a_lot_below_its_requirement() -> None:
    # Seven failures of 22: P(seven or more at R 0.9) = 0.0044; even undecided units survive.
    results = [outcome("FAILED", 50_000)] * 7 + [outcome("RUNNING", 10)] * 15
    judgement = judge(state(*results), counting_terms(units=22))
    assert judgement.kind == "SHOWN_BELOW_REQUIREMENT"


ACCEPTED = Judgement(verdict="ACCEPT", reasons=[])
GOING_ON = Judgement(verdict="CONTINUE", reasons=[Reason(code="PLAN_NOT_FINISHED")])
REFUSED = Judgement(
    verdict="REJECT",
    reasons=[Reason(code="ALLOWED_FAILURES_EXCEEDED", failure_count=1)],
    kind="NOT_DEMONSTRATED",
)
SHOWN = Judgement(
    verdict="REJECT",
    reasons=[
        Reason(code="ALLOWED_FAILURES_EXCEEDED", failure_count=6),
        Reason(code="UPPER_LIMIT_BELOW_REQUIREMENT"),
    ],
    kind="SHOWN_BELOW_REQUIREMENT",
)


def test_holds_that_cannot_change_the_verdict_do_not_stop_it() -> None:
    assert settle(ACCEPTED, ACCEPTED, ACCEPTED, ["U-001"]) == ACCEPTED
    assert settle(REFUSED, REFUSED, REFUSED, ["U-001"]) == REFUSED


def test_holds_on_which_the_verdict_depends_hold_the_lot() -> None:
    held = settle(ACCEPTED, ACCEPTED, REFUSED, ["U-003"])
    assert said(held) == ("HOLD", None, ["OPEN_HOLDS"])
    assert held.reasons[0].unit_serials == ["U-003"]


def test_a_lot_refused_at_both_ends_is_refused_and_only_what_both_show_is_claimed() -> None:
    assert settle(REFUSED, REFUSED, SHOWN, ["U-003"]) == REFUSED
    assert settle(SHOWN, REFUSED, SHOWN, ["U-003"]) == REFUSED
    assert settle(SHOWN, SHOWN, SHOWN, ["U-003"]) == SHOWN


def test_both_ends_outvote_a_headline_that_lies_outside_them() -> None:
    assert settle(ACCEPTED, GOING_ON, GOING_ON, ["U-003"]) == GOING_ON


def test_a_lot_passes_when_all_its_requirements_pass() -> None:
    held = Judgement(verdict="HOLD", reasons=[about_units("OPEN_HOLDS", ["U-003"])])
    assert worst_of([ACCEPTED, ACCEPTED]).verdict == "ACCEPT"
    assert said(worst_of([ACCEPTED, GOING_ON])) == ("CONTINUE", None, ["PLAN_NOT_FINISHED"])
    assert said(worst_of([GOING_ON, held])) == ("HOLD", None, ["OPEN_HOLDS"])
    assert worst_of([held, GOING_ON, REFUSED]) == REFUSED
    assert worst_of([REFUSED, SHOWN]).kind == "SHOWN_BELOW_REQUIREMENT"
