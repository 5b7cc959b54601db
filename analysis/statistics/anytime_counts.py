"""Evidence from units that passed or failed the target, valid at every look."""

import math
from collections.abc import Callable

from scipy import optimize, special

from analysis.checks import check_count, check_fraction
from analysis.statistics.rising_sums import log_beta_sum
from schemas.anytime import PriorDensity
from schemas.test_plans import CountedStops

_MOST_UNITS = 100_000_000
_BELOW = PriorDensity(shape=1.0, rate=0.5)
_LEAST_RELIABILITY = 1e-4
_ROUNDING = 1e-12
_ENOUGH_FOR_LOG = 1e-290


def log_count_evidence(
    failure_count: int, unit_count: int, *, reliability: float, prior: PriorDensity
) -> float:
    """
    Logarithm of the evidence that a lot is better than its requirement, from counts.

    Parameters
    ----------
    failure_count : int, 0 to `unit_count`
    unit_count : int, >= 0
        Units that have passed the target or failed before it.
    reliability : float, fraction, keyword only
        Required reliability at the target.
    prior : PriorDensity, keyword only
        The same density as for target lives, on the failure probability as a multiple
        of the allowed one.

    Returns
    -------
    float
        As `anytime_evidence.log_evidence`, and for any distribution of lives.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Notes
    -----
    Beta(a, 1 + b/p0) cut to (0, p0), p0 = 1 - R: the ratio of the beta integrals with
    their powers cancelled is ``a/(a+r) F(a+B+n, a+r) / F(a+B, a)``, F from
    `log_beta_sum` at p0.

    Examples
    --------
    >>> from analysis.statistics.anytime_evidence import PRIORS
    >>> even = PRIORS["EVEN"]
    >>> log_count_evidence(0, 54, reliability=0.95, prior=even) >= math.log(10.0)
    True
    """
    count, units = _counts(failure_count, unit_count)
    allowed = 1.0 - check_fraction("reliability", reliability)
    shape, other = prior.shape, 1.0 + prior.rate / allowed
    return (
        math.log(shape / (shape + count))
        + log_beta_sum(allowed, shape + other + units, shape + count)
        - log_beta_sum(allowed, shape + other, shape)
    )


def units_to_accept(
    failure_count: int, *, reliability: float, confidence: float, prior: PriorDensity
) -> int:
    """
    Finished units from which a lot with so many failures is accepted.

    Parameters
    ----------
    failure_count : int, >= 0
    reliability, confidence : float, fractions, keyword only
    prior : PriorDensity, keyword only

    Returns
    -------
    int
        Units that passed or failed, the failed ones among them.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range, or more than a hundred million units are needed.

    Examples
    --------
    >>> from analysis.statistics.anytime_evidence import PRIORS
    >>> [
    ...     units_to_accept(r, reliability=0.95, confidence=0.90, prior=PRIORS["EVEN"])
    ...     for r in (0, 1)
    ... ]
    [54, 103]
    """
    count = check_count("failure_count", failure_count, least=0, most=_MOST_UNITS)
    level = -math.log1p(-check_fraction("confidence", confidence))

    def is_enough(units: int) -> bool:
        found = log_count_evidence(count, units, reliability=reliability, prior=prior)
        return found >= level * (1.0 - _ROUNDING)

    low, high = count - 1, max(2 * count, 1)
    while not is_enough(high):
        low, high = high, 2 * high
        check_count("unit_count", high, least=0, most=_MOST_UNITS)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_enough(middle) else (middle, high)
    return high


def stops_by_evidence(
    evidence: Callable[[int, int], float],
    *,
    confidence: float,
    most_units: int,
    most_failures: int,
) -> CountedStops:
    """
    Stops after each unit of a plan that accepts as soon as its evidence suffices.

    Parameters
    ----------
    evidence : callable of int, int to float
        Logarithm of the evidence of so many failures among so many finished units; it
        falls with failures and rises with units.
    confidence : float, fraction, keyword only
    most_units, most_failures : int, keyword only
        Cap on finished units, and failures that may be accepted at most.

    Returns
    -------
    CountedStops
        A count is refused as soon as no result of the units left could accept it.

    Raises
    ------
    OutsideDomainError
        If `confidence` is no fraction.

    Examples
    --------
    Evidence ten times as large with every unit, and gone with the first failure:

    >>> stops_by_evidence(
    ...     lambda failures, units: units * math.log(10.0) - 99.0 * failures,
    ...     confidence=0.95,
    ...     most_units=3,
    ...     most_failures=1,
    ... ).accept_at
    (-1, 0, 0)
    """
    level = -math.log1p(-check_fraction("confidence", confidence)) * (1.0 - _ROUNDING)
    accept: list[int] = []
    acceptable = -1
    for units in range(1, most_units + 1):
        while acceptable < min(units, most_failures) and evidence(acceptable + 1, units) >= level:
            acceptable += 1
        accept.append(acceptable)
    return CountedStops(accept_at=tuple(accept), reject_at=(acceptable + 1,) * len(accept))


def log_count_evidence_below(failure_count: int, unit_count: int, *, reliability: float) -> float:
    """
    Logarithm of the evidence that a lot is below its requirement, from counts.

    Parameters
    ----------
    failure_count : int, 0 to `unit_count`
    unit_count : int, >= 0
        Every unit that was started: units still running count as passed, because
        failures finish before passes.
    reliability : float, fraction, keyword only

    Returns
    -------
    float
        As `anytime_below.log_evidence_below`, and for any distribution of lives.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Notes
    -----
    Beta(1, 1 + 0.5/p0) cut to (p0, 1). Summed where that is quick, else from the
    complement of the regularised incomplete beta function.

    Examples
    --------
    >>> log_count_evidence_below(5, 12, reliability=0.95) > math.log(10.0)
    True
    >>> round(log_count_evidence_below(0, 0, reliability=0.95), 12)
    0.0
    """
    count, units = _counts(failure_count, unit_count)
    allowed = 1.0 - check_fraction("reliability", reliability)
    other = 1.0 + _BELOW.rate / allowed
    passed = units - count
    after = _log_upper_part(_BELOW.shape + count, other + passed, allowed)
    before = _log_upper_part(_BELOW.shape, other, allowed)
    return after - before - count * math.log(allowed) - passed * math.log1p(-allowed)


def count_lower_limit(
    failure_count: int, unit_count: int, *, confidence: float, prior: PriorDensity
) -> float:
    """
    Lower limit of reliability from counts that holds at all looks together.

    Parameters
    ----------
    failure_count : int, 0 to `unit_count`
    unit_count : int, >= 0
        As for `log_count_evidence`.
    confidence : float, fraction, keyword only
    prior : PriorDensity, keyword only

    Returns
    -------
    float
        Largest reliability that would be accepted; 0 where none is.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Examples
    --------
    >>> from analysis.statistics.anytime_evidence import PRIORS
    >>> limit = count_lower_limit(0, 54, confidence=0.90, prior=PRIORS["EVEN"])
    >>> 0.950 <= limit < 0.951
    True
    """
    level = -math.log1p(-check_fraction("confidence", confidence))

    def falls_short(reliability: float) -> float:
        return level - log_count_evidence(
            failure_count, unit_count, reliability=reliability, prior=prior
        )

    return _where_it_turns(falls_short)


def count_upper_limit(failure_count: int, unit_count: int, *, confidence: float) -> float:
    """
    Upper limit of reliability from counts that holds at all looks together.

    Parameters
    ----------
    failure_count : int, 0 to `unit_count`
    unit_count : int, >= 0
        As for `log_count_evidence_below`: every unit that was started.
    confidence : float, fraction, keyword only

    Returns
    -------
    float
        Smallest reliability that would be shown not to be met; 1 where none is.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Examples
    --------
    >>> count_upper_limit(5, 12, confidence=0.90) < 0.95
    True
    >>> count_upper_limit(0, 12, confidence=0.90)
    1.0
    """
    level = -math.log1p(-check_fraction("confidence", confidence))

    def shown(reliability: float) -> float:
        return log_count_evidence_below(failure_count, unit_count, reliability=reliability) - level

    return _where_it_turns(shown)


def _where_it_turns(rising: Callable[[float], float]) -> float:
    """Reliability at which a function that rises with it becomes 0; 0 or 1 outside."""
    low, high = _LEAST_RELIABILITY, 1.0 - _LEAST_RELIABILITY
    if rising(high) <= 0.0:
        return 1.0
    if rising(low) >= 0.0:
        return 0.0
    return float(optimize.brentq(rising, low, high, xtol=1e-13, rtol=8.9e-16))


def _log_upper_part(first: float, second: float, above: float) -> float:
    """Logarithm of the integral of ``p^(first-1) (1-p)^(second-1)`` from `above` to 1."""
    share = float(special.betaincc(first, second, above))
    if share > _ENOUGH_FOR_LOG:
        return float(special.betaln(first, second)) + math.log(share)
    # So small a share lies far beyond the middle, where the sum's terms only fall.
    series = log_beta_sum(1.0 - above, first + second, second)
    return first * math.log(above) + second * math.log1p(-above) - math.log(second) + series


def _counts(failure_count: int, unit_count: int) -> tuple[int, int]:
    units = check_count("unit_count", unit_count, least=0, most=2 * _MOST_UNITS)
    return check_count("failure_count", failure_count, least=0, most=units), units
