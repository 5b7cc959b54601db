"""Units and cycles for a demonstration, at the shape of the range that asks most."""

import msgspec
import pytest

from analysis.errors import OutsideDomainError
from schemas.plans import LengthOfTest, WeibayesQuestion
from service.errors import InvalidRequest
from service.workflows.plans import plan_success_run, plan_weibayes

QUESTION = WeibayesQuestion(
    reliability=0.95,
    confidence=0.90,
    target_cycles=100_000,
    shape_low=2.0,
    shape_high=2.6,
    allowed_failures=0,
    cycles_per_unit=200_000,
)


def asked(**changes: float | int | None) -> WeibayesQuestion:
    return msgspec.structs.replace(QUESTION, **changes)


def test_a_success_run_needs_the_published_number_of_units() -> None:
    # 22 units for 90 % with 90 % (success-run tables, read in a public article).
    plan = plan_success_run(0.90, 0.90, allowed_failures=0)
    assert plan.unit_count == 22
    assert plan.confidence_reached == pytest.approx(1 - 0.9**22, rel=1e-12)
    assert plan.confidence_one_unit_less == pytest.approx(1 - 0.9**21, rel=1e-12)


def test_a_fraction_outside_its_range_is_named() -> None:
    with pytest.raises(OutsideDomainError, match="confidence"):
        plan_success_run(0.90, 1.0, allowed_failures=0)


def test_units_for_given_cycles_are_those_of_the_smallest_shape_beyond_the_target() -> None:
    # 44.89 target lives are needed and each unit counts 2**2 = 4 at shape 2: 12 units.
    # At shape 2.6 each counts 6.06: 8 units would do.
    plan = plan_weibayes(asked(assumed_shape=2.6))
    assert plan.target_lives_required == pytest.approx(44.8905674803, rel=1e-9)
    assert plan.binomial == LengthOfTest(shape=2.0, unit_count=12, cycles_per_unit=200_000)
    assert plan.poisson == plan.binomial
    assert plan.binomial_at_assumed_shape == LengthOfTest(
        shape=2.6, unit_count=8, cycles_per_unit=200_000
    )
    assert plan.poisson_at_assumed_shape == plan.binomial_at_assumed_shape


def test_units_for_cycles_short_of_the_target_are_those_of_the_largest_shape() -> None:
    # Half a target life counts 0.5**2.6 = 0.165 target lives: 44.89 / 0.165 = 272.2.
    plan = plan_weibayes(asked(cycles_per_unit=50_000))
    assert (plan.binomial.shape, plan.binomial.unit_count) == (2.6, 273)


def test_cycles_for_given_units_are_those_of_the_worst_shape() -> None:
    # 9 units: 44.89 / 9 = 4.988 target lives each, its root 2.23335 target lives at shape 2.
    plan = plan_weibayes(asked(cycles_per_unit=None, unit_count=9))
    assert plan.binomial == LengthOfTest(shape=2.0, unit_count=9, cycles_per_unit=223_335)


def test_the_two_forms_differ_once_a_failure_is_allowed() -> None:
    # R = C = 0.9, shape 2, 1.5 target lives, two allowed: 24 by counting, 23 by the Poisson
    # form (computed with exact rationals and in another language; from the reference cases).
    plan = plan_weibayes(
        asked(
            reliability=0.9,
            shape_high=2.0,
            allowed_failures=2,
            cycles_per_unit=150_000,
        )
    )
    assert (plan.binomial.unit_count, plan.poisson.unit_count) == (24, 23)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"unit_count": 12}, "EXACTLY_ONE"),
        ({"cycles_per_unit": None}, "EXACTLY_ONE"),
        ({"shape_low": 3.0}, "RANGE_REVERSED"),
        ({"assumed_shape": 1.9}, "OUTSIDE_RANGE"),
    ],
)
def test_a_question_that_contradicts_itself_is_refused(
    changes: dict[str, float | None], code: str
) -> None:
    with pytest.raises(InvalidRequest) as refusal:
        plan_weibayes(asked(**changes))
    assert [error.code for error in refusal.value.errors] == [code]
