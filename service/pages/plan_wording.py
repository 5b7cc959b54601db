"""Sentences about a plan: its evidence, its exact risks, and what one more failure would do."""

import math

from msgspec import UNSET

from schemas.decisions import PlanProgress, RequirementResult
from service.pages import units

ONE_LOOK = (
    "The limits in the tables are those of a single look that was fixed beforehand; this plan "
    "decides by its own lines, not by them."
)
RISKS_CAPTION = "Exact chance that this plan accepts a lot"
RISKS_NOTE = (
    "Share of lots of each true reliability that the plan accepts, at the worst shape of the "
    "range. It says nothing about how many accepted lots are good."
)
_HAS_LINES = ("TWO_STAGE", "SEQUENTIAL")


def evidence_sentence(plan: PlanProgress) -> str:
    """How far the evidence of an any-time plan has come; empty for other plans."""
    found = plan.evidence
    if found is UNSET:
        return ""
    have, need = units.compared_text(found.evidence, found.evidence_required)
    said = f"Evidence so far: {have}; {need} accepts, at whichever look it is reached."
    if found.reliability_lower is UNSET:
        return said
    lower = units.lower_limit_text(found.reliability_lower)
    return f"{said} The lower limit that holds at all looks together is {lower}."


def next_failure_sentence(result: RequirementResult) -> str:
    """What one more relevant failure would do now; empty once the lot is refused."""
    following = result.plan.next_failure
    if following is UNSET or result.verdict == "REJECT":
        return ""
    if following.refuses:
        return "One more relevant failure would refuse the lot."
    if following.target_lives_required is not UNSET:
        lives = units.target_lives_needed_text(following.target_lives_required)
        return f"With one more relevant failure the plan would ask for {lives} target lives in all."
    if following.units_required is not UNSET:
        count = units.count_text(following.units_required)
        return (
            f"With one more relevant failure the plan would ask for {count} decided units in all."
        )
    return ""


def one_look_sentence(plan: PlanProgress) -> str:
    """That the limits shown are not what a plan with lines decides by."""
    return ONE_LOOK if plan.kind in _HAS_LINES else ""


def risk_rows(result: RequirementResult) -> list[tuple[str, str, bool]]:
    """True reliability, chance of acceptance, and whether it is the requirement."""
    if result.plan.risks is UNSET:
        return []
    return [
        (
            units.lower_limit_text(each.true_reliability),
            _chance_text(each.chance),
            math.isclose(each.true_reliability, result.reliability),
        )
        for each in result.plan.risks.operating_curve
    ]


def _chance_text(chance: float) -> str:
    """A chance in percent to one decimal; never 0 or 100 unless it is."""
    percent = round(100.0 * chance, 1)
    if percent == 0.0 and chance > 0.0:
        return "below 0.1 %"
    if percent == 100.0 and chance < 1.0:
        return "above 99.9 %"
    return f"{percent:g} %"
