"""Demonstrations by counting on a lot of known size, sampled without putting back.

Convention: D (`max_nonconforming`) is the largest number of nonconforming units that is still
acceptable, so the lot to be found out is one with D + 1. A text that speaks of "detecting D"
means what is called D + 1 here. Every claim speaks of the lot before sampling, the sample
included, unless it says "remaining".
"""

import math

from scipy import special

from analysis.checks import check_count, check_fraction
from analysis.statistics.hypergeometric import (
    MOST_UNITS,
    hypergeometric_tails,
    log_chance_at_most,
)
from analysis.statistics.rounding import risk_limit
from schemas.estimates import NotEstimable
from schemas.finite_lots import FiniteLotBound, FiniteLotPlan

_WHOLE = 1e-12  # A share that misses a whole number of units by so little is meant to be one.
_MOST_NEWTON_STEPS = 8  # Three are the rule; after so many the bracket is halved instead.


def most_nonconforming(lot_size: int, reliability: float) -> int:
    """
    Most units of a lot that may be nonconforming if a share of it has to conform.

    Parameters
    ----------
    lot_size : int, 1 to 2**53
        Units in the lot before sampling (N).
    reliability : float, fraction
        Share that must conform at least.

    Returns
    -------
    int
        ``floor(N (1 - R))``, rounding errors of 1 - R aside; below N.

    Raises
    ------
    OutsideDomainError
        If `lot_size` is no whole number in its range or `reliability` is no fraction.

    Examples
    --------
    >>> most_nonconforming(40, 0.95), most_nonconforming(100, 0.93), most_nonconforming(19, 0.95)
    (2, 7, 0)
    """
    units = check_count("lot_size", lot_size, least=1, most=MOST_UNITS)
    share = units * (1.0 - check_fraction("reliability", reliability))
    whole = round(share)
    return whole if abs(share - whole) <= _WHOLE * max(1.0, share) else math.floor(share)


def finite_lot_plan(
    lot_size: int, *, max_nonconforming: int, confidence: float, allowed_failures: int
) -> FiniteLotPlan | NotEstimable:
    """
    Fewest units that show how many nonconforming units a lot holds at most.

    Parameters
    ----------
    lot_size : int, 1 to 2**53
        Units in the lot before sampling (N).
    max_nonconforming : int, 0 to lot_size - 1, keyword only
        Most nonconforming units that are acceptable in the whole lot (D).
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence of the demonstration. No unit.
    allowed_failures : int, >= 0, keyword only
        Most failures the plan tolerates, fixed before the test starts (c).

    Returns
    -------
    FiniteLotPlan or NotEstimable
        Units to test and the two confidences, or ``CANNOT_BE_SHOWN``: a lot with D + 1
        nonconforming units passes even when every unit is tested, because more failures
        are allowed than D.

    Raises
    ------
    OutsideDomainError
        If a count is no whole number in its range or `confidence` is not strictly
        between 0 and 1.

    Notes
    -----
    The smallest n with ``P(X <= c) <= 1 - C`` for X hypergeometric with N, K = D + 1 and n.
    The comparison allows the slack of rounding errors that a demonstration by counting
    allows. A plan may ask for nearly all units of a small lot. Without the finite lot the
    same claim needs more units: the binomial plan is an upper bound of this one.

    References
    ----------
    .. [1] E. G. Schilling and D. V. Neubauer, "Acceptance Sampling in Quality Control".
           (Hypergeometric sampling; from memory.)

    Examples
    --------
    >>> plan = finite_lot_plan(
    ...     500, max_nonconforming=5, confidence=0.90, allowed_failures=0
    ... )
    >>> plan.unit_count, round(plan.confidence_reached, 4)
    (159, 0.9008)
    >>> finite_lot_plan(20, max_nonconforming=1, confidence=0.90, allowed_failures=2)
    NotEstimable(reason='CANNOT_BE_SHOWN')

    159 units without a failure show that no more than 5 of the 500 were bad. Two failures
    are more than the one bad unit that a lot of 20 may hold: no sample shows that.
    """
    units = check_count("lot_size", lot_size, least=1, most=MOST_UNITS)
    acceptable = check_count("max_nonconforming", max_nonconforming, least=0, most=units - 1)
    check_fraction("confidence", confidence)
    allowed = check_count("allowed_failures", allowed_failures, least=0)
    if allowed > acceptable:
        return NotEstimable(reason="CANNOT_BE_SHOWN")
    needed = _smallest_ruling_out(units, acceptable + 1, allowed, risk_limit(confidence))
    return FiniteLotPlan(
        lot_size=units,
        max_nonconforming=acceptable,
        confidence=confidence,
        allowed_failures=allowed,
        unit_count=needed,
        confidence_reached=_tails(units, needed, acceptable + 1, allowed)[1],
        confidence_one_unit_less=_tails(units, needed - 1, acceptable + 1, allowed)[1],
    )


def finite_lot_confidence(
    lot_size: int, unit_count: int, *, max_nonconforming: int, allowed_failures: int
) -> float:
    """
    Confidence with which a sample shows how many nonconforming units a lot holds at most.

    Parameters
    ----------
    lot_size : int, 1 to 2**53
        Units in the lot before sampling (N).
    unit_count : int, 0 to lot_size
        Units tested, those that failed included (n).
    max_nonconforming : int, 0 to lot_size - 1, keyword only
        Most nonconforming units that are acceptable in the whole lot (D).
    allowed_failures : int, >= 0, keyword only
        Failures the plan tolerates; of a finished test, the failures found (c).

    Returns
    -------
    float
        One-sided confidence, 0 to 1: the chance that a lot with D + 1 nonconforming units
        would have shown more failures. 0 where the claim cannot be shown.

    Raises
    ------
    OutsideDomainError
        If a count is no whole number in its range.

    Notes
    -----
    ``1 - P(X <= c)`` for X hypergeometric with N, K = D + 1 and n.

    Examples
    --------
    >>> round(
    ...     finite_lot_confidence(100, 22, max_nonconforming=9, allowed_failures=0), 4
    ... )
    0.9273

    No failure among 22 of 100 units: 92.7 % confidence that no more than 9 were bad.
    """
    units = check_count("lot_size", lot_size, least=1, most=MOST_UNITS)
    tested = check_count("unit_count", unit_count, least=0, most=units)
    acceptable = check_count("max_nonconforming", max_nonconforming, least=0, most=units - 1)
    allowed = check_count("allowed_failures", allowed_failures, least=0)
    return _tails(units, tested, acceptable + 1, allowed)[1]


def finite_lot_acceptance(
    lot_size: int, unit_count: int, *, nonconforming: int, allowed_failures: int
) -> float:
    """
    Chance that a lot with a given number of nonconforming units passes a plan.

    Parameters
    ----------
    lot_size : int, 1 to 2**53
        Units in the lot before sampling (N).
    unit_count : int, 0 to lot_size
        Units the plan tests (n).
    nonconforming : int, 0 to lot_size, keyword only
        Nonconforming units the lot really holds (K).
    allowed_failures : int, >= 0, keyword only
        Most failures the plan tolerates (c).

    Returns
    -------
    float
        ``P(X <= c)``, 0 to 1. For a good lot 1 minus it is the maker's risk, for a bad
        one it is the buyer's.

    Raises
    ------
    OutsideDomainError
        If a count is no whole number in its range.

    Examples
    --------
    >>> [
    ...     round(finite_lot_acceptance(500, 159, nonconforming=k, allowed_failures=0), 3)
    ...     for k in (0, 1, 6)
    ... ]
    [1.0, 0.682, 0.099]

    A lot with a single bad unit among 500 fails the plan of 159 units in one case of three.
    """
    units = check_count("lot_size", lot_size, least=1, most=MOST_UNITS)
    tested = check_count("unit_count", unit_count, least=0, most=units)
    bad = check_count("nonconforming", nonconforming, least=0, most=units)
    allowed = check_count("allowed_failures", allowed_failures, least=0)
    return _tails(units, tested, bad, allowed)[0]


def nonconforming_upper(
    lot_size: int, unit_count: int, failure_count: int, *, confidence: float
) -> FiniteLotBound:
    """
    Most nonconforming units a lot may hold after a sample of it was tested.

    Parameters
    ----------
    lot_size : int, 1 to 2**53
        Units in the lot before sampling (N).
    unit_count : int, 0 to lot_size
        Units tested, those that failed included (n).
    failure_count : int, 0 to unit_count
        Units that failed (x).
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence of the bound. No unit.

    Returns
    -------
    FiniteLotBound
        The upper bound for the lot before sampling, for the units not tested, and the
        conforming fraction of the lot it leaves.

    Raises
    ------
    OutsideDomainError
        If a count is no whole number in its range or `confidence` is not strictly
        between 0 and 1.

    Notes
    -----
    The largest K with ``P(X <= x) > 1 - C`` for X hypergeometric with N, K and n: the
    bound is at most D exactly where `finite_lot_confidence` shows D with confidence C.

    Examples
    --------
    >>> bound = nonconforming_upper(100, 20, 1, confidence=0.90)
    >>> bound.nonconforming_in_lot_upper, bound.nonconforming_remaining_upper
    (16, 15)
    >>> bound.conforming_fraction_lower
    0.84

    One failure among 20 of 100 units: no more than 15 of the other 80 are bad, with 90 %
    confidence.
    """
    units = check_count("lot_size", lot_size, least=1, most=MOST_UNITS)
    tested = check_count("unit_count", unit_count, least=0, most=units)
    failures = check_count("failure_count", failure_count, least=0, most=tested)
    check_fraction("confidence", confidence)
    upper = units
    if failures < tested:  # Bad units and drawn ones may change places in the chance.
        upper = _smallest_ruling_out(units, tested, failures, risk_limit(confidence)) - 1
    return FiniteLotBound(
        lot_size=units,
        unit_count=tested,
        failure_count=failures,
        confidence=confidence,
        nonconforming_in_lot_upper=upper,
        nonconforming_remaining_upper=upper - failures,
        conforming_fraction_lower=(units - upper) / units,
    )


def _smallest_ruling_out(lot_size: int, other: int, count: int, most_risk: float) -> int:
    """
    Smallest sample that finds `count` or fewer of `other` units with little enough risk.

    `other` is above `count`. The logarithm of the chance falls with the size of the sample,
    nearly in a straight line: Newton's steps lead to the answer, a bracket keeps them.
    """
    # With `high` units more than `count` of the others are in the sample for certain.
    low, high = count, lot_size - other + count + 1
    log_limit = math.log(most_risk)
    # Each of the others is drawn with about this chance, corrected for not putting back
    # (Wise's approximation of 1954; from memory, and only a start).
    share = float(special.betaincinv(count + 1, other - count, max(0.0, 1.0 - most_risk)))
    proposed = math.ceil(0.5 * (share * (2.0 * lot_size - other + 1.0) + count))
    trials = 0
    while high - low > 1:
        proposed = min(max(proposed, low + 1), high - 1)
        log_risk, terms = log_chance_at_most(
            count, lot_size=lot_size, nonconforming=other, unit_count=proposed
        )
        low, high = (low, proposed) if log_risk <= log_limit else (proposed, high)
        # One unit more turns a pass into a failure if `count` were found and it is another.
        slope = (other - count) / ((lot_size - proposed) * terms)
        trials += 1
        if trials > _MOST_NEWTON_STEPS or slope == 0.0:
            proposed = (low + high) // 2
        else:
            step = (log_risk - log_limit) / slope
            proposed += math.ceil(min(max(step, -float(lot_size)), float(lot_size)))
    return high


def _tails(lot_size: int, unit_count: int, nonconforming: int, count: int) -> tuple[float, float]:
    return hypergeometric_tails(
        count, lot_size=lot_size, nonconforming=nonconforming, unit_count=unit_count
    )
