"""One requirement of a specification: its verdict, its reasons, and both views of the lot."""

from msgspec import UNSET, UnsetType

from analysis.decision.attribute import (
    attribute_view_at_planned,
    attribute_view_at_target,
    reliability_at_planned,
)
from analysis.decision.counting import LotState
from analysis.decision.plan_risks import next_failure, plan_risks
from analysis.decision.reasons import Judgement
from analysis.decision.terms import Terms
from analysis.decision.verdict import stand
from analysis.decision.weibayes_plan import weibayes_view
from schemas.decisions import AttributeView, PlanProgress, RequirementResult, WeibayesView


def requirement_result(state: LotState, terms: Terms, judgement: Judgement) -> RequirementResult:
    """
    Put the verdict on one requirement together with the figures behind it.

    Parameters
    ----------
    state : LotState
        The outcomes of the lot's units, holds at their headline: the figures are theirs.
    terms : Terms
        The requirement and its plan.
    judgement : Judgement
        The verdict as given, open holds considered.

    Returns
    -------
    RequirementResult
        The attribute view at the target stands in it always, the variables view wherever
        a shape is assumed, the attribute view at the planned cycles for a plan by counting.
    """
    variables = UNSET if terms.shape is None else weibayes_view(state.outcomes, terms)
    at_planned: AttributeView | UnsetType = UNSET
    if not terms.adds_target_lives:
        at_planned = attribute_view_at_planned(state.outcomes, terms)
    return RequirementResult(
        reliability=terms.reliability,
        confidence=terms.confidence,
        target_cycles=terms.target_cycles,
        verdict=judgement.verdict,
        kind=UNSET if judgement.kind is None else judgement.kind,
        reasons=judgement.reasons,
        plan=_progress(state, terms, variables),
        variables=variables,
        attribute_at_target=attribute_view_at_target(state.outcomes, terms),
        attribute_at_planned=at_planned,
    )


def _progress(state: LotState, terms: Terms, variables: WeibayesView | UnsetType) -> PlanProgress:
    """Figures of the plan; a plan by counting is shown without target lives."""
    standing = stand(state, terms)
    by_lives = terms.adds_target_lives and variables is not UNSET
    return PlanProgress(
        kind=terms.kind,
        unit_count=terms.unit_count,
        max_units=terms.max_units,
        planned_cycles=terms.planned_cycles,
        allowed_failures=terms.most_failures,
        credit=UNSET if terms.credit is None else terms.credit,
        target_lives=standing.target_lives,
        target_lives_required=standing.target_lives_required,
        worst_shape=variables.worst_shape if by_lives and variables else UNSET,
        reliability_required_at_planned=UNSET
        if by_lives
        else reliability_at_planned(terms, hardest=True),
        evidence=standing.evidence,
        risks=plan_risks(terms),
        next_failure=next_failure(standing, terms),
    )
