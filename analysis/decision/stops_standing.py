"""Where a lot stands in a plan with stops: two-stage, sequential, any-time."""

import math
from collections.abc import Sequence

from msgspec import UNSET, UnsetType

from analysis.decision.attribute import reliability_at_planned, stand_by_counting
from analysis.decision.counting import (
    LotState,
    counted_by_plan,
    may_have_failed_by,
    tally_at,
)
from analysis.decision.failure_clock import target_lives_at_failures
from analysis.decision.plan_stops import prior_of, stops_in_target_lives, stops_in_units
from analysis.decision.reasons import Standing
from analysis.decision.terms import Terms
from analysis.decision.weibayes_plan import lower_limit, read_clock
from analysis.statistics.anytime_counts import (
    count_lower_limit,
    log_count_evidence,
)
from analysis.statistics.anytime_evidence import log_evidence
from analysis.statistics.anytime_finite_lot import log_lot_evidence
from analysis.statistics.weibayes import reaches_requirement
from schemas.decisions import Reason
from schemas.plan_kinds import PlanEvidence
from schemas.test_plans import CountedStops

_LARGEST_LOG = 700.0
"""Logarithm of the largest evidence that is told as a number."""


def stand_in_target_lives(state: LotState, terms: Terms) -> Standing:
    """
    Where a lot stands in a plan with stops on target lives.

    Parameters
    ----------
    state : LotState
        The outcomes of the lot's units.
    terms : Terms
        The requirement and its plan; a shape range is needed.

    Returns
    -------
    Standing

    Notes
    -----
    The least sum over the shape range is compared with the sum that accepts so many
    failures. A sequential plan refuses where any failure came at its line or before,
    whether somebody looked then or not: its risks are those of the whole path. The
    give-up line of an any-time plan is asked of the present sum; its promise needs no line.
    """
    lives = counted_by_plan(state.outcomes, terms)
    clock = read_clock(lives, terms)
    stops = stops_in_target_lives(terms)
    total, failures = clock.least.target_lives, lives.failure_count
    required = stops.accept_totals[min(failures, len(stops.accept_totals) - 1)]
    return Standing(
        failure_count=failures,
        is_demonstrated=failures < len(stops.accept_totals)
        and reaches_requirement(total, required),
        reliability_upper=clock.reliability_upper,
        reliability_for_upper=terms.reliability,
        target_lives=total,
        target_lives_required=required,
        line_reached=_line_reached(state, terms, total, failures),
        evidence=_evidence_of_lives(total, failures, terms),
    )


def stand_in_units(state: LotState, terms: Terms) -> Standing:
    """
    Where a lot stands in a plan with stops after each unit.

    Parameters
    ----------
    state : LotState
        The outcomes of the lot's units.
    terms : Terms
        The requirement and its plan, which counts units.

    Returns
    -------
    Standing

    Notes
    -----
    Units count in the order in which they took their places, because failures finish
    before passes and the order of finishing would favour them. A unit that has not
    decided is taken to fail when acceptance is asked, and to pass when refusal is: so a
    verdict comes as early as no result of the others could change it. More failures than
    allowed among all units that were started refuse too, those beyond the deciding unit
    included: starting more units than the plan needs can only cost acceptance. An any-time plan
    asks less: any decided units count, and only they.
    """
    standing = stand_by_counting(state.outcomes, terms)
    stops = stops_in_units(terms)
    if terms.kind == "ANYTIME":
        return _anytime_by_counting(state, terms, stops, standing)
    order = state.in_place_order or list(range(len(state.outcomes)))
    placed = [state.outcomes[number] for number in order]
    at = terms.planned_cycles
    could_fail = [may_have_failed_by(each, at) or each.credited_cycles < at for each in placed]
    surely = [may_have_failed_by(each, at) for each in placed]
    return Standing(
        failure_count=sum(may_have_failed_by(each, at) for each in state.outcomes),
        is_demonstrated=_path(could_fail, stops) == "ACCEPT",
        reliability_upper=standing.reliability_upper,
        reliability_for_upper=standing.reliability_for_upper,
        decided_count=standing.decided_count,
        line_reached=Reason(
            code="REFUSAL_LINE_REACHED",
            failure_count=sum(surely),
            unit_count=len(placed),
        )
        if _path(surely, stops) == "REFUSE"
        else None,
    )


def _path(failed: Sequence[bool], stops: CountedStops) -> str:
    """What a plan says of units one after another, at the first stop that they meet."""
    failures = 0
    for number, fails in enumerate(failed[: len(stops.accept_at)]):
        failures += fails
        if failures <= stops.accept_at[number]:
            return "ACCEPT"
        if failures >= stops.reject_at[number]:
            return "REFUSE"
    return "GO_ON"


def _line_reached(state: LotState, terms: Terms, total: float, failures: int) -> Reason | None:
    """A line of refusal that the lot has met, with the sum at which it did."""
    lines = stops_in_target_lives(terms).reject_totals
    if terms.kind == "SEQUENTIAL":
        met = [
            (at, lines[number])
            for number, at in enumerate(target_lives_at_failures(state, terms), start=1)
            if number in lines and at <= lines[number]
        ]
    else:
        line = lines.get(failures)
        met = [(total, line)] if line is not None and total <= line else []
    # More failures than any sum accepts are said as such, not as a line.
    if not met or failures > terms.most_failures:
        return None
    return Reason(
        code="REFUSAL_LINE_REACHED",
        target_lives=met[0][0],
        target_lives_required=met[0][1],
        failure_count=failures,
    )


def _anytime_by_counting(
    state: LotState, terms: Terms, stops: CountedStops, by_counting: Standing
) -> Standing:
    tally = tally_at(state.outcomes, terms.planned_cycles)
    decided, failures = tally.decided_count, tally.failed_count
    reliability = reliability_at_planned(terms, hardest=True)
    accepts = decided > 0 and failures <= stops.accept_at[min(decided, len(stops.accept_at)) - 1]
    assert terms.anytime is not None
    prior = prior_of(terms.anytime)
    lower: float | None = None
    if terms.lot_size is None:
        found = log_count_evidence(failures, decided, reliability=reliability, prior=prior)
        if terms.planned_cycles == terms.target_cycles:
            lower = count_lower_limit(failures, decided, confidence=terms.confidence, prior=prior)
    else:
        found = log_lot_evidence(
            failures, decided, lot_size=terms.lot_size, reliability=reliability, prior=prior
        )
    return Standing(
        failure_count=failures,
        is_demonstrated=accepts,
        reliability_upper=by_counting.reliability_upper,
        reliability_for_upper=by_counting.reliability_for_upper,
        decided_count=decided,
        evidence=_told(found, terms, lower),
    )


def _evidence_of_lives(total: float, failures: int, terms: Terms) -> PlanEvidence | UnsetType:
    if terms.anytime is None:
        return UNSET
    prior = prior_of(terms.anytime)
    found = log_evidence(failures, -math.log(terms.reliability) * total, prior=prior)
    return _told(found, terms, lower_limit(total, failures, terms))


def _told(log_found: float, terms: Terms, lower: float | None = None) -> PlanEvidence:
    return PlanEvidence(
        evidence=math.exp(min(log_found, _LARGEST_LOG)),
        evidence_required=1.0 / (1.0 - terms.confidence),
        reliability_lower=UNSET if lower is None else lower,
    )
