"""What a page says of a plan's evidence, risks and next failure."""

import msgspec
from lives import outcome
from planned_lots import plan_terms, state_of

from analysis.decision.reasons import Judgement
from analysis.decision.requirements import requirement_result
from schemas.decisions import RequirementResult
from schemas.lives import Outcome
from service.pages.plan_wording import (
    evidence_sentence,
    next_failure_sentence,
    one_look_sentence,
    risk_rows,
)

RUN_OUT = outcome("RUN_OUT", 200_000)
TWO_STAGE = {
    "credit": "TO_PLANNED",
    "planned_cycles": 300_000,
    "max_units": 26,
    "second_stage": {"allowed_failures": 1, "first_target_lives": 48.0},
}
ANYTIME = {"credit": "TO_PLANNED", "max_units": 40, "anytime": {"prior": "EVEN"}}


def result(kind: str, results: list[Outcome], **plan: object) -> RequirementResult:
    terms = plan_terms(kind, **plan)  # type: ignore[arg-type]
    return requirement_result(state_of(*results), terms, Judgement(verdict="CONTINUE", reasons=[]))


def test_the_evidence_of_an_any_time_plan_is_said_with_what_accepts() -> None:
    said = evidence_sentence(result("ANYTIME", [RUN_OUT] * 12, **ANYTIME).plan)
    assert said.startswith("Evidence so far: ") and "10.00 accepts" in said
    assert "holds at all looks together" in said
    assert evidence_sentence(result("TWO_STAGE", [RUN_OUT], **TWO_STAGE).plan) == ""


def test_one_more_failure_is_said_with_its_price() -> None:
    staged = result("TWO_STAGE", [RUN_OUT] * 5, **TWO_STAGE)
    assert "99.78 target lives" in next_failure_sentence(staged)
    anytime = result("ANYTIME", [RUN_OUT] * 5, **ANYTIME)
    assert next_failure_sentence(anytime) == "One more relevant failure would refuse the lot."
    refused = msgspec.structs.replace(anytime, verdict="REJECT")
    assert next_failure_sentence(refused) == ""
    counted = result(
        "TWO_STAGE",
        [outcome("RUN_OUT", 100_000)] * 5,
        with_shape=False,
        planned_cycles=100_000,
        unit_count=50,
        second_stage={"allowed_failures": 1, "unit_count": 43},
    )
    assert "93 decided units" in next_failure_sentence(counted)


def test_limits_of_one_look_are_named_beside_plans_with_lines() -> None:
    assert one_look_sentence(result("TWO_STAGE", [RUN_OUT], **TWO_STAGE).plan)
    assert one_look_sentence(result("ANYTIME", [RUN_OUT], **ANYTIME).plan) == ""


def test_chances_of_acceptance_stand_with_the_requirement_marked() -> None:
    rows = risk_rows(result("TWO_STAGE", [RUN_OUT], **TWO_STAGE))
    marked = [row for row in rows if row[2]]
    # R 0.95, C 0.90: both stages together let 10 % pass and no more.
    assert marked == [("0.950", "10 %", True)]
    assert rows[0][1] != "0 %" and rows[-1][1] != "100 %"
