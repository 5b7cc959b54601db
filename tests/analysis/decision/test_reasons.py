"""Each reason carries the figures that belong to it, and no others."""

import msgspec
from lives import spec

from analysis.decision.reasons import (
    Judgement,
    Standing,
    about_units,
    failures_exceeded,
    merged,
    progress,
    upper_limit_below,
)
from analysis.decision.terms import terms_of

SPEC = spec(
    "WEIBAYES",
    (0.95, 0.9, 100),
    shape=(2.0, 2.2, 2.6),
    plan={"unit_count": 4, "allowed_failures": 1, "planned_cycles": 200, "credit": "TO_PLANNED"},
)
TERMS = terms_of(SPEC, SPEC.requirement[0], after_data=False)
BY_LIVES = Standing(
    failure_count=2,
    is_demonstrated=False,
    reliability_upper=0.9,
    reliability_for_upper=0.95,
    target_lives=32.0,
    target_lives_required=75.8,
)
BY_COUNT = Standing(
    failure_count=2,
    is_demonstrated=False,
    reliability_upper=0.9,
    reliability_for_upper=0.95,
    decided_count=7,
)


def test_progress_of_a_variables_plan_is_told_in_target_lives() -> None:
    said = msgspec.to_builtins(progress("PLAN_NOT_FINISHED", BY_LIVES, TERMS))
    assert said == {
        "code": "PLAN_NOT_FINISHED",
        "target_lives": 32.0,
        "target_lives_required": 75.8,
    }


def test_progress_of_a_plan_by_counting_is_told_in_units() -> None:
    said = msgspec.to_builtins(progress("PLAN_NOT_FINISHED", BY_COUNT, TERMS))
    assert said == {
        "code": "PLAN_NOT_FINISHED",
        "unit_count": 7,
        "failure_count": 2,
        "allowed_failures": 1,
    }


def test_too_many_failures_are_told_with_the_number_allowed() -> None:
    said = msgspec.to_builtins(failures_exceeded(BY_LIVES, TERMS))
    assert said == {
        "code": "ALLOWED_FAILURES_EXCEEDED",
        "failure_count": 2,
        "allowed_failures": 1,
    }


def test_a_limit_below_the_requirement_is_told_with_both() -> None:
    said = msgspec.to_builtins(upper_limit_below(BY_LIVES))
    assert said == {
        "code": "UPPER_LIMIT_BELOW_REQUIREMENT",
        "reliability_upper": 0.9,
        "reliability_required": 0.95,
    }


def test_what_several_requirements_say_alike_is_said_once() -> None:
    due, done = about_units("END_CHECK_DUE", ["U-001"]), failures_exceeded(BY_LIVES, TERMS)
    first = Judgement(verdict="REJECT", reasons=[done, due])
    second = Judgement(verdict="REJECT", reasons=[due])
    assert merged([first, second]) == [done, due]


def test_refusals_of_two_kinds_do_not_agree() -> None:
    one = Judgement(verdict="REJECT", reasons=[], kind="NOT_DEMONSTRATED")
    other = Judgement(verdict="REJECT", reasons=[], kind="SHOWN_BELOW_REQUIREMENT")
    assert one.agrees_with(one)
    assert not one.agrees_with(other)
