"""Which views stand in the result of a requirement, and which figures in its plan."""

import msgspec
import pytest
from lives import outcome, spec

from analysis.decision.counting import LotState
from analysis.decision.reasons import Judgement
from analysis.decision.requirements import requirement_result
from analysis.decision.terms import terms_of
from schemas.decisions import RequirementResult
from schemas.specs import Spec


def result(each: Spec) -> RequirementResult:
    state = LotState(
        outcomes=[outcome("RUN_OUT", 2_000)] * 8,
        serials=[""] * 8,
        place_count=8,
        has_started=True,
        end_checks_due=[],
    )
    terms = terms_of(each, each.requirement[0], after_data=False)
    return requirement_result(state, terms, Judgement(verdict="ACCEPT", reasons=[]))


PLAN = {"unit_count": 8, "allowed_failures": 0, "planned_cycles": 2_000}
SHAPE = (1.5, 1.8, 2.2)


def test_a_variables_plan_shows_its_clock_and_the_attribute_view_at_the_target() -> None:
    plan = PLAN | {"credit": "TO_PLANNED"}
    said = msgspec.to_builtins(result(spec("WEIBAYES", (0.9, 0.9, 1_000), shape=SHAPE, plan=plan)))
    assert said["plan"].keys() == {
        "kind",
        "unit_count",
        "max_units",
        "planned_cycles",
        "allowed_failures",
        "credit",
        "target_lives",
        "target_lives_required",
        "worst_shape",
        "risks",
        "next_failure",
    }
    assert said["plan"]["target_lives"] == pytest.approx(8 * 2**1.5, rel=1e-14)
    assert said["variables"]["assumes"] == "ONE_POPULATION"
    assert said["attribute_at_target"]["at_cycles"] == 1_000
    assert "attribute_at_planned" not in said


def test_a_plan_by_counting_shows_what_it_requires_at_its_planned_cycles() -> None:
    said = msgspec.to_builtins(result(spec("ATTRIBUTE", (0.9, 0.9, 1_000), shape=SHAPE, plan=PLAN)))
    required = said["plan"]["reliability_required_at_planned"]
    assert required == pytest.approx(0.9 ** (2**1.5), rel=1e-14)
    assert said["attribute_at_planned"]["reliability_required"] == required
    assert "target_lives" not in said["plan"]
    assert "credit" not in said["plan"]
    assert said["variables"]["target_lives_worst"] == pytest.approx(8 * 2**1.5, rel=1e-14)


def test_without_a_shape_there_is_no_variables_view() -> None:
    plan = PLAN | {"planned_cycles": 1_000}
    said = msgspec.to_builtins(result(spec("ATTRIBUTE", (0.9, 0.9, 1_000), shape=None, plan=plan)))
    assert "variables" not in said
    assert said["attribute_at_planned"]["reliability_required"] == 0.9
