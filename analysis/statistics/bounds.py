"""Exact limits of a reliability from counted failures (Clopper and Pearson)."""

import math

from scipy import special

from analysis.checks import check_count, check_fraction
from schemas.estimates import TwoSidedProportion


def reliability_lower(unit_count: int, failure_count: int, *, confidence: float) -> float:
    """
    Reliability that the lot exceeds with the stated confidence.

    Parameters
    ----------
    unit_count : int, >= 1
        Units run to the target once, those that failed included.
    failure_count : int, 0 to unit_count
        Units that failed before the target.
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence of the limit. No unit.

    Returns
    -------
    float
        Lower limit of the reliability at the target; 0 when every unit failed.

    Raises
    ------
    OutsideDomainError
        If a count is no whole number in its range or `confidence` is not strictly
        between 0 and 1.

    Notes
    -----
    The reliability at which ``failure_count`` or fewer failures have probability
    1 - `confidence`: the quantile 1 - C of Beta(n - r, r + 1). With no failure it is
    ``(1 - C)**(1 / n)``. The true confidence is never below the stated one.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial
           limits illustrated in the case of the binomial", Biometrika 26(4),
           404-413, 1934. (Citation as given by SciPy.)

    Examples
    --------
    >>> round(reliability_lower(30, 1, confidence=0.90), 4)
    0.8764

    One failure among 30 units shows 87.6 % reliability with 90 % confidence.
    """
    units, failures = _check_result(unit_count, failure_count, confidence)
    if failures == units:
        return 0.0
    if failures == 0:
        return math.exp(math.log1p(-confidence) / units)
    # The complement takes C itself: 1 - C would be rounded when C is close to 1.
    return float(special.betainccinv(units - failures, failures + 1, confidence))


def log_reliability_lower(unit_count: int, failure_count: int, *, confidence: float) -> float:
    """
    Natural logarithm of `reliability_lower`, exact also where the limit is close to 1.

    Parameters and errors are those of `reliability_lower`, but `failure_count` must be
    below `unit_count`: the logarithm of 0 is no number.
    """
    units, failures = _check_result(unit_count, failure_count, confidence)
    check_count("failure_count", failures, least=0, most=units - 1)
    if failures == 0:
        return math.log1p(-confidence) / units
    lower = reliability_lower(units, failures, confidence=confidence)
    if lower < 0.5:
        return math.log(lower)
    return math.log1p(-float(special.betaincinv(failures + 1, units - failures, confidence)))


def reliability_upper(unit_count: int, failure_count: int, *, confidence: float) -> float:
    """
    Reliability that the lot stays below with the stated confidence.

    Parameters
    ----------
    unit_count, failure_count, confidence
        As in `reliability_lower`.

    Returns
    -------
    float
        Upper limit of the reliability at the target; 1 when nothing failed.

    Raises
    ------
    OutsideDomainError
        As in `reliability_lower`.

    Notes
    -----
    The quantile C of Beta(n - r + 1, r). Together with `reliability_lower` at the same
    one-sided confidence C it makes a two-sided interval of confidence 2 C - 1.

    Examples
    --------
    >>> round(reliability_upper(20, 4, confidence=0.95), 4)
    0.9286

    Four failures among 20 units: the lot is below 92.9 % with 95 % confidence.
    """
    units, failures = _check_result(unit_count, failure_count, confidence)
    if failures == 0:
        return 1.0
    return float(special.betaincinv(units - failures + 1, failures, confidence))


def two_sided_proportion_limits(
    unit_count: int, event_count: int, *, two_sided_confidence: float
) -> TwoSidedProportion:
    """
    Exact two-sided limits of the proportion of units that show an event.

    Parameters
    ----------
    unit_count : int, >= 1
        Units observed.
    event_count : int, 0 to unit_count
        Units that show the event (for failures: the units that failed).
    two_sided_confidence : float, 0 < two_sided_confidence < 1, keyword only
        Confidence that both limits hold together; each alone has half the remaining risk.

    Returns
    -------
    TwoSidedProportion
        Lower and upper limit of the proportion of the event.

    Raises
    ------
    OutsideDomainError
        If a count is no whole number in its range or the confidence is not strictly
        between 0 and 1.

    Examples
    --------
    >>> limits = two_sided_proportion_limits(20, 4, two_sided_confidence=0.90)
    >>> round(limits.lower, 6), round(limits.upper, 5)
    (0.071354, 0.40103)

    Four of 20 units failed: between 7.1 % and 40.1 % of the lot would.
    """
    units = check_count("unit_count", unit_count, least=1)
    events = check_count("event_count", event_count, least=0, most=units)
    check_fraction("two_sided_confidence", two_sided_confidence)
    tail = (1.0 - two_sided_confidence) / 2.0
    others = units - events
    lower = float(special.betaincinv(events, others + 1, tail)) if events else 0.0
    upper = float(special.betainccinv(events + 1, others, tail)) if others else 1.0
    return TwoSidedProportion(lower=lower, upper=upper, two_sided_confidence=two_sided_confidence)


def _check_result(unit_count: int, failure_count: int, confidence: float) -> tuple[int, int]:
    """Check the counts and the confidence of a finished test; give the counts."""
    units = check_count("unit_count", unit_count, least=1)
    failures = check_count("failure_count", failure_count, least=0, most=units)
    check_fraction("confidence", confidence)
    return units, failures
