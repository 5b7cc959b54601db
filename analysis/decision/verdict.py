"""The rule: when a lot is accepted, refused, continued or held."""

from collections.abc import Sequence

from analysis.decision.attribute import stand_by_counting
from analysis.decision.counting import LotState
from analysis.decision.reasons import (
    Judgement,
    Standing,
    about_units,
    failures_exceeded,
    merged,
    progress,
    upper_limit_below,
)
from analysis.decision.stops_standing import stand_in_target_lives, stand_in_units
from analysis.decision.terms import Terms
from analysis.decision.weibayes_plan import stand_by_target_lives
from analysis.statistics.rounding import reaches
from schemas.decisions import Reason, RefusalKind

_WORST_FIRST = ("REJECT", "HOLD", "CONTINUE", "ACCEPT")


def judge(state: LotState, terms: Terms) -> Judgement:
    """
    Verdict on one requirement, with every hold decided one way.

    Parameters
    ----------
    state : LotState
        The outcomes of the lot's units.
    terms : Terms
        The requirement and its plan.

    Returns
    -------
    Judgement

    Raises
    ------
    OutsideDomainError
        If the plan needs a shape and there is none, or a sum of target lives is too
        large for a number.

    Notes
    -----
    In this order: one failure of a critical mode refuses at once, and so do more
    failures than allowed and a line of refusal that was met, even while today's limit
    still meets the requirement: the plan decides, not the limit. Then the plan's
    criterion accepts. A plan all of whose places are taken by units that have ended
    short of it refuses. Everything else continues.

    A refusal is *shown below the requirement* when the upper limit of the reliability
    lies below it too; else it is *not demonstrated* and says nothing about the goods.
    """
    standing = stand(state, terms)
    against = _reasons_against(state, standing, terms)
    if against:
        return _refusal(against, standing)
    if not state.has_started:
        return Judgement(verdict="CONTINUE", reasons=[Reason(code="NO_DATA")])
    if standing.is_demonstrated:
        if terms.bars_acceptance:
            return Judgement(verdict="HOLD", reasons=[Reason(code="SPEC_AFTER_DATA")])
        return Judgement(verdict="ACCEPT", reasons=[])
    if state.has_ended(terms):
        return _refusal([progress("TARGET_LIVES_SHORT", standing, terms)], standing)
    reasons = [progress("PLAN_NOT_FINISHED", standing, terms)]
    if state.end_checks_due:
        reasons.append(about_units("END_CHECK_DUE", state.end_checks_due))
    return Judgement(verdict="CONTINUE", reasons=reasons)


def stand(state: LotState, terms: Terms) -> Standing:
    """Where a lot stands in its plan, whichever kind of plan it is."""
    if terms.kind == "ATTRIBUTE":
        return stand_by_counting(state.outcomes, terms)
    if terms.kind == "WEIBAYES":
        return stand_by_target_lives(state.outcomes, terms)
    return (
        stand_in_target_lives(state, terms)
        if terms.adds_target_lives
        else stand_in_units(state, terms)
    )


def settle(
    headline: Judgement, best: Judgement, worst: Judgement, held_serials: Sequence[str]
) -> Judgement:
    """
    Verdict while holds are open: the one that both ends give, or HOLD.

    Parameters
    ----------
    headline : Judgement
        With holds as the reduction found them; its figures are the ones shown.
    best, worst : Judgement
        With every hold decided in the lot's favour, and against it.
    held_serials : sequence of str
        Units with an open hold.

    Returns
    -------
    Judgement
        The common verdict if there is one: it is robust. A lot refused at both ends is
        refused; where only one end shows it below the requirement, it is not demonstrated.
        Else HOLD with `OPEN_HOLDS`, and beside it only what all of them say.
    """
    if best.agrees_with(worst):
        return headline if headline.agrees_with(worst) else worst
    if best.verdict == worst.verdict:
        refused = (headline, best, worst)
        return next(each for each in refused if each.kind == "NOT_DEMONSTRATED")
    said_by_both = {r.code for r in best.reasons} & {r.code for r in worst.reasons}
    shared = [reason for reason in headline.reasons if reason.code in said_by_both]
    return Judgement(verdict="HOLD", reasons=[about_units("OPEN_HOLDS", held_serials), *shared])


def worst_of(judgements: Sequence[Judgement]) -> Judgement:
    """
    Verdict on several requirements: a lot passes when all of them pass.

    Parameters
    ----------
    judgements : sequence of Judgement
        One or more, one per requirement.

    Returns
    -------
    Judgement
        The worst verdict (a refusal before a hold, a hold before going on), the graver
        kind of refusal, and the reasons of every requirement that gives that verdict.
    """
    verdict = min((each.verdict for each in judgements), key=_WORST_FIRST.index)
    deciding = [each for each in judgements if each.verdict == verdict]
    kinds = {each.kind for each in deciding}
    graver = "SHOWN_BELOW_REQUIREMENT" in kinds
    kind: RefusalKind | None = "SHOWN_BELOW_REQUIREMENT" if graver else deciding[0].kind
    return Judgement(verdict=verdict, reasons=merged(deciding), kind=kind)


def _reasons_against(state: LotState, standing: Standing, terms: Terms) -> list[Reason]:
    """Failures that refuse a lot at once, whatever the rest of the test may bring."""
    reasons = []
    critical = [
        serial
        for serial, outcome in zip(state.serials, state.outcomes, strict=True)
        if outcome.failed and outcome.critical
    ]
    if critical:
        reasons.append(about_units("CRITICAL_FAILURE", critical))
    if standing.failure_count > terms.most_failures:
        reasons.append(failures_exceeded(standing, terms))
    elif standing.line_reached is not None:
        reasons.append(standing.line_reached)
    return reasons


def _refusal(reasons: list[Reason], standing: Standing) -> Judgement:
    if reaches(standing.reliability_upper, standing.reliability_for_upper):
        return Judgement(verdict="REJECT", reasons=reasons, kind="NOT_DEMONSTRATED")
    return Judgement(
        verdict="REJECT",
        reasons=[*reasons, upper_limit_below(standing)],
        kind="SHOWN_BELOW_REQUIREMENT",
    )
