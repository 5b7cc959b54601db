"""Plans that count units: where a lot stands, and the attribute view at any count."""

import math
from collections.abc import Sequence

from msgspec import UNSET, UnsetType

from analysis.decision.counting import Tally, tally_at
from analysis.decision.reasons import Standing
from analysis.decision.terms import Terms, target_lives_each
from analysis.statistics.anytime_counts import count_lower_limit, count_upper_limit
from analysis.statistics.anytime_evidence import PRIORS
from analysis.statistics.bounds import reliability_lower, reliability_upper
from analysis.statistics.finite_lot import finite_lot_acceptance, most_nonconforming
from analysis.statistics.rounding import risk_limit
from analysis.statistics.success_run import units_required_at
from schemas.decisions import AttributeView
from schemas.lives import Outcome


def log_reliability_at_planned(terms: Terms, *, hardest: bool) -> float:
    """
    Logarithm of the reliability that the requirement means at the planned cycles.

    Parameters
    ----------
    terms : Terms
        The requirement and its plan.
    hardest : bool, keyword only
        True for the largest value over the shape range, the one that a lot to be
        accepted must show; False for the smallest, the one that a lot to be shown
        below its requirement must stay under.

    Returns
    -------
    float
        ``ratio**shape * ln(R)``. At a life ratio of 1 it is ln(R), whatever the shape.

    Notes
    -----
    ``R**(ratio**shape)`` falls with the shape beyond the target, so the hardest shape is
    the lowest of the range there. It rises with the shape in a test short of the
    target, where the hardest is the highest. Both ends of the range are evaluated and
    the largest (or smallest) value taken.
    """
    log_reliability = math.log(terms.reliability)
    if terms.shape is None or terms.planned_cycles == terms.target_cycles:
        return log_reliability
    ends = [
        target_lives_each(terms.life_ratio, shape) * log_reliability
        for shape in (terms.shape.shape_low, terms.shape.shape_high)
    ]
    return max(ends) if hardest else min(ends)


def reliability_at_planned(terms: Terms, *, hardest: bool) -> float:
    """Reliability that the requirement means at the planned cycles; R itself at the target."""
    if terms.planned_cycles == terms.target_cycles:
        return terms.reliability
    return math.exp(log_reliability_at_planned(terms, hardest=hardest))


def undecided_count(tally: Tally, unit_count: int) -> int:
    """
    Units that may still turn out either way before a plan of `unit_count` units is done.

    Units that run count, and so do places of the plan that no unit has decided: one
    that nobody has listed yet, or whose unit ended without an answer.
    """
    missing = max(0, unit_count - tally.decided_count - tally.pending_count)
    return tally.pending_count + missing


def shows_requirement(terms: Terms, unit_count: int, failure_count: int) -> bool:
    """
    Whether so many units with so many failures show the reliability required of them.

    Notes
    -----
    With a lot of known size: whether a lot with one nonconforming unit too many passes
    with a chance of at most 1 - C (hypergeometric); else whether a lot of the required
    reliability does (binomial).
    """
    if terms.lot_size is None:
        log_reliability = log_reliability_at_planned(terms, hardest=True)
        needed = units_required_at(
            log_reliability, terms.confidence, allowed_failures=failure_count
        )
        return needed <= unit_count
    weak = most_nonconforming(terms.lot_size, reliability_at_planned(terms, hardest=True)) + 1
    chance = finite_lot_acceptance(
        terms.lot_size,
        min(unit_count, terms.lot_size),
        nonconforming=weak,
        allowed_failures=failure_count,
    )
    return chance <= risk_limit(terms.confidence)


def stand_by_counting(outcomes: Sequence[Outcome], terms: Terms) -> Standing:
    """
    Where a lot stands in a plan that counts failures at the planned cycles.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One per unit.
    terms : Terms
        The requirement and its plan.

    Returns
    -------
    Standing

    Notes
    -----
    The lot is demonstrated once no result of the undecided units could change it: were
    all of them to fail, failures would still be allowed, and the units together would
    still show the required reliability. For the upper limit every unit that has not
    surely failed counts as a survivor.
    """
    tally = tally_at(outcomes, terms.planned_cycles)
    undecided = undecided_count(tally, terms.unit_count)
    most_failures = tally.failed_count + undecided
    is_demonstrated = most_failures <= terms.allowed_failures and shows_requirement(
        terms, tally.decided_count + undecided, most_failures
    )
    return Standing(
        failure_count=tally.failed_count,
        is_demonstrated=is_demonstrated,
        reliability_upper=_upper(tally, terms),
        reliability_for_upper=reliability_at_planned(terms, hardest=False),
        decided_count=tally.decided_count,
    )


def attribute_view_at_target(outcomes: Sequence[Outcome], terms: Terms) -> AttributeView:
    """Failures and survivors at the target: valid whatever the life distribution."""
    return _view(tally_at(outcomes, terms.target_cycles), terms.target_cycles, terms)


def attribute_view_at_planned(outcomes: Sequence[Outcome], terms: Terms) -> AttributeView:
    """Failures and survivors at the planned cycles, with the reliability required there."""
    return _view(
        tally_at(outcomes, terms.planned_cycles),
        terms.planned_cycles,
        terms,
        reliability_required=reliability_at_planned(terms, hardest=True),
    )


def _view(
    tally: Tally,
    at_cycles: int,
    terms: Terms,
    *,
    reliability_required: float | UnsetType = UNSET,
) -> AttributeView:
    return AttributeView(
        confidence=terms.confidence,
        at_cycles=at_cycles,
        decided_count=tally.decided_count,
        failure_count=tally.failed_count,
        reliability_lower_of_decided=_lower(tally, terms),
        survivor_count_for_upper=tally.unit_count - tally.surely_failed_count,
        reliability_upper=_upper(tally, terms),
        reliability_required=reliability_required,
    )


def _lower(tally: Tally, terms: Terms) -> float:
    """Lower limit of the decided units: of one look, or of all looks of an any-time plan."""
    if not tally.decided_count:
        return 0.0
    if terms.anytime is None:
        return reliability_lower(
            tally.decided_count, tally.failed_count, confidence=terms.confidence
        )
    return count_lower_limit(
        tally.failed_count,
        tally.decided_count,
        confidence=terms.confidence,
        prior=PRIORS[terms.anytime.prior],
    )


def _upper(tally: Tally, terms: Terms) -> float:
    """Upper limit of the reliability with every unit that has not surely failed surviving."""
    if not tally.surely_failed_count:
        return 1.0
    if terms.anytime is None:
        return reliability_upper(
            tally.unit_count, tally.surely_failed_count, confidence=terms.confidence
        )
    return count_upper_limit(
        tally.surely_failed_count, tally.unit_count, confidence=terms.confidence
    )
