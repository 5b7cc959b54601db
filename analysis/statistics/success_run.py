"""Demonstrations by counting: every unit runs to the target once, few or none may fail."""

import math

from scipy import special

from analysis.checks import check_count, check_fraction
from analysis.statistics.rounding import risk_limit
from schemas.estimates import SuccessRunPlan


def units_required(reliability: float, confidence: float, *, allowed_failures: int) -> int:
    """
    Smallest number of units that demonstrates a reliability.

    Each unit is run to the target once. If no more than `allowed_failures` of
    them fail, reliability at the target is at least `reliability` with
    one-sided confidence `confidence`, whatever the life distribution.

    Parameters
    ----------
    reliability : float, 0 < reliability < 1
        Fraction of units that must reach the target. No unit.
    confidence : float, 0 < confidence < 1
        One-sided confidence of the demonstration. No unit.
    allowed_failures : int, >= 0, keyword only
        Most failures the plan tolerates, fixed before the test starts.

    Returns
    -------
    int
        Units to run to the target, those that fail included.

    Raises
    ------
    OutsideDomainError
        If a fraction is not strictly between 0 and 1 (nan included), or
        `allowed_failures` is no whole number of 0 or more.

    Notes
    -----
    The answer is the smallest n whose chance of passing, for a lot that is
    exactly at `reliability`, is at most 1 - `confidence`:
    ``P(X <= allowed_failures) <= 1 - confidence`` for X binomial with n and
    1 - `reliability`. With no failure allowed this is the success run,
    ``reliability**n <= 1 - confidence``. Units must be independent and drawn at
    random from one lot. The comparison allows a relative slack of 1e-12, so that
    a confidence computed from a finished test of n units leads back to n.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial
           limits illustrated in the case of the binomial", Biometrika 26(4),
           404-413, 1934. (One-sided limit; citation as given by SciPy.)

    Examples
    --------
    >>> units_required(0.90, 0.90, allowed_failures=0)
    22
    >>> units_required(0.90, 0.90, allowed_failures=1)
    38

    Plan 22 units if none may fail; a plan that tolerates one failure needs 38.
    """
    check_fraction("reliability", reliability)
    check_fraction("confidence", confidence)
    allowed = check_count("allowed_failures", allowed_failures, least=0)
    return units_required_at(math.log(reliability), confidence, allowed_failures=allowed)


def units_required_at(log_reliability: float, confidence: float, *, allowed_failures: int) -> int:
    """
    Smallest number of units, for a reliability given by its logarithm.

    The logarithm (finite, below 0) keeps a reliability exact that is too close to 0 or 1
    for a fraction, such as that of many target lives. The other arguments are those of
    `units_required` and are not checked again.
    """
    most_risk = risk_limit(confidence)

    def too_few(unit_count: int) -> bool:
        return _chance_of_passing(unit_count, allowed_failures, log_reliability) > most_risk

    low, high = _bracket(log_reliability, confidence, allowed_failures)
    if not too_few(low):
        low, high = allowed_failures, low
    step = high - low
    while too_few(high):
        low, high, step = high, high + step, 2 * step
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if too_few(middle) else (low, middle)
    return high


def confidence_shown(unit_count: int, failure_count: int, reliability: float) -> float:
    """
    Confidence with which a finished test shows a reliability.

    Parameters
    ----------
    unit_count : int, >= 1
        Units run to the target once, those that failed included.
    failure_count : int, 0 to unit_count
        Units that failed before the target.
    reliability : float, 0 < reliability < 1
        Reliability at the target that is to be shown. No unit.

    Returns
    -------
    float
        One-sided confidence, 0 to 1; 0 when every unit failed.

    Raises
    ------
    OutsideDomainError
        If a count is no whole number in its range or `reliability` is not
        strictly between 0 and 1.

    Notes
    -----
    ``1 - P(X <= failure_count)`` for X binomial with `unit_count` and
    1 - `reliability`; with no failure ``1 - reliability**unit_count``. It is a
    statement about a plan with these counts fixed beforehand: stopping when the
    number looks good does not keep it.

    Examples
    --------
    >>> round(confidence_shown(22, 0, 0.90), 4)
    0.9015

    Twenty-two units without a failure show 90 % reliability with 90.15 % confidence.
    """
    units = check_count("unit_count", unit_count, least=1)
    failures = check_count("failure_count", failure_count, least=0, most=units)
    check_fraction("reliability", reliability)
    if failures == units:
        return 0.0
    if failures == 0:
        return -math.expm1(units * math.log(reliability))
    failure_fraction = 1.0 - reliability
    return float(special.betainc(failures + 1, units - failures, failure_fraction))


def success_run_plan(
    reliability: float, confidence: float, *, allowed_failures: int
) -> SuccessRunPlan:
    """
    Smallest demonstration by counting, with the confidence it and one unit fewer reach.

    Parameters
    ----------
    reliability, confidence, allowed_failures
        As in `units_required`.

    Returns
    -------
    SuccessRunPlan
        Units to run and the two confidences, one-sided fractions.

    Raises
    ------
    OutsideDomainError
        As in `units_required`.

    Examples
    --------
    >>> plan = success_run_plan(0.95, 0.90, allowed_failures=0)
    >>> plan.unit_count, round(plan.confidence_reached, 4)
    (45, 0.9006)
    >>> round(plan.confidence_one_unit_less, 4)
    0.8953

    Forty-five units are needed: 44 would show 95 % with only 89.5 % confidence.
    """
    unit_count = units_required(reliability, confidence, allowed_failures=allowed_failures)
    one_less = 0.0
    if unit_count - 1 > allowed_failures:
        one_less = confidence_shown(unit_count - 1, allowed_failures, reliability)
    return SuccessRunPlan(
        reliability=reliability,
        confidence=confidence,
        allowed_failures=allowed_failures,
        unit_count=unit_count,
        confidence_reached=confidence_shown(unit_count, allowed_failures, reliability),
        confidence_one_unit_less=one_less,
    )


def _bracket(log_reliability: float, confidence: float, allowed_failures: int) -> tuple[int, int]:
    """Two numbers of units near the answer; the first is too small but for rounding."""
    # A binomial count is never larger, in distribution, than a Poisson count of mean
    # -n ln R, so the Poisson answer is a bound from below. With the mean n (1 - R) it is
    # an estimate from above for all but small confidences; the search tests both.
    mean = float(special.gammaincinv(allowed_failures + 1, confidence))
    below = mean / -log_reliability
    above = mean / -math.expm1(log_reliability)
    low = max(allowed_failures, math.ceil(below * (1.0 - 1e-9)) - 1)
    high = max(low, math.ceil(above)) + 1
    return low, high


def _chance_of_passing(unit_count: int, allowed_failures: int, log_reliability: float) -> float:
    """P(X <= allowed_failures) for X binomial; small relative error at both ends."""
    if unit_count <= allowed_failures:
        return 1.0
    if allowed_failures == 0:
        return math.exp(unit_count * log_reliability)
    survivors, reliability = unit_count - allowed_failures, math.exp(log_reliability)
    # Each form is exact only where the fraction it is given is not a rounded 1 - x.
    if reliability < 0.5:
        return float(special.betainc(survivors, allowed_failures + 1, reliability))
    return float(special.betaincc(allowed_failures + 1, survivors, -math.expm1(log_reliability)))
