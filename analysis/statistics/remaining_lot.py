"""What a test says about the untested rest of a lot: a prediction of a number of units.

A Weibayes limit speaks of the process that made the lot: of the share that would fail among
ever more units like these. It is the same whether the rest of the lot holds ten units or ten
thousand, so the size of the lot corrects nothing in it. The size matters where the statement
is a number of units still to come: then chance acts twice, in the test and in the rest, and
the answer is a *prediction* bound. With a handful of units left it lies far above the limit
times the number of units, with very many it approaches it.
"""

import math

from scipy import special

from analysis.checks import check_count, check_fraction, check_not_negative, check_positive
from analysis.statistics.finite_lot import nonconforming_upper
from analysis.statistics.hypergeometric import MOST_UNITS
from analysis.statistics.rounding import risk_limit
from analysis.statistics.shape_range import least_target_lives
from schemas.estimates import NotEstimable
from schemas.remaining_lot import RemainingFailures, RemainingNonconforming
from schemas.shape_effects import WeibayesEvidence


def remaining_failures_upper(
    runs_to_count: float, failure_count: int, *, remaining_units: int, confidence: float
) -> int:
    """
    Most failures among units still to run, from the lives that others ran.

    Parameters
    ----------
    runs_to_count : float, finite, >= 0
        Sum over the tested units of ``(life / count)**shape``, the count being the one up to
        which the remaining units are to run: target lives with that count as the target.
    failure_count : int, >= 0
        Failures in that sum.
    remaining_units : int, 0 to 2**53, keyword only
        Units that start new and run to the count.
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence of the prediction. No unit.

    Returns
    -------
    int
        Number of failing units that is not exceeded with the stated confidence; all of them
        when nothing has run.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    In the clock of target lives failures come at a constant, unknown rate. If it is the same
    for the test (sum S, r failures) and the rest (m more runs, y failures), then given r + y
    the r are binomial with r + y and S / (S + m), whatever the rate. A y that makes r or
    fewer unlikely is ruled out: the bound is the largest y with
    ``P(X <= r) > 1 - C`` for X binomial with r + y and S / (S + m) [1]_.

    The prediction holds with at least C for a test that ends at a sum fixed beforehand. It
    counts a unit that fails as if it were repaired and ran on, so it is on the safe side:
    by little where few of the rest fail, by more where most of them do. A test that ended
    at its r-th failure is taken as if it had gone on a little without another one, which is
    on the safe side too. Where tested units and rest run to the same count,
    `remaining_nonconforming` asks for no shape and holds exactly.

    References
    ----------
    .. [1] W. Nelson, "Applied Life Data Analysis", 1982 (prediction limits for a Poisson
           count by conditioning on the sum; from memory).

    Examples
    --------
    >>> remaining_failures_upper(48.0, 0, remaining_units=500, confidence=0.90)
    25
    >>> remaining_failures_upper(48.0, 0, remaining_units=10, confidence=0.90)
    1

    After 48 runs without a failure no more than 25 of 500 further units fail, and no more
    than one of ten. (The share at the limit, 4.7 % of 500, is 23.4 units.)
    """
    runs = check_not_negative("runs_to_count", runs_to_count)
    failures = check_count("failure_count", failure_count, least=0)
    remaining = check_count("remaining_units", remaining_units, least=0, most=MOST_UNITS)
    check_fraction("confidence", confidence)
    if runs == 0.0 or remaining == 0:
        return remaining
    share = remaining / (runs + remaining)
    most_risk = risk_limit(confidence)
    low, beyond = 0, remaining + 1
    while beyond - low > 1:
        middle = (low + beyond) // 2
        # P(X <= r), by the share of the rest, is this incomplete beta function.
        risk = float(special.betainc(middle, failures + 1, share))
        low, beyond = (low, middle) if risk <= most_risk else (middle, beyond)
    return low


def remaining_failures(
    evidence: WeibayesEvidence,
    *,
    up_to_cycles: float,
    remaining_units: int,
    shape_low: float,
    shape_high: float,
) -> RemainingFailures:
    """
    Failures among the untested units of a lot up to a count, the shape known beforehand.

    Parameters
    ----------
    evidence : WeibayesEvidence
        Lives (finite, 0 or more), failures and one-sided confidence; the target plays no
        part.
    up_to_cycles : float, finite, > 0, keyword only
        Count to which each remaining unit is to run, new at its start. Cycles.
    remaining_units : int, 0 to 2**53, keyword only
        Units of the lot that were not tested.
    shape_low, shape_high : float, finite, 0 < shape_low <= shape_high, keyword only
        Range in which earlier evidence puts the Weibull shape (beta); equal if it is known.

    Returns
    -------
    RemainingFailures
        The prediction bound at the shape of the range where it is largest.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    The bound of `remaining_failures_upper` grows as the sum of ``(life / count)**shape``
    falls; that sum is least where `least_target_lives` says, with the count as target.

    Examples
    --------
    >>> evidence = WeibayesEvidence(
    ...     life_cycles=(200_000.0,) * 12, failure_count=0, target_cycles=100_000.0,
    ...     confidence=0.90, terminated_at_failure=False,
    ... )
    >>> rest = remaining_failures(
    ...     evidence, up_to_cycles=50_000, remaining_units=400, shape_low=2.0, shape_high=2.6
    ... )
    >>> rest.failures_upper, rest.shape, rest.runs_to_count
    (5, 2.0, 192.0)

    No more than 5 of the other 400 units fail before 50 000 cycles, with 90 % confidence.
    """
    count = check_positive("up_to_cycles", up_to_cycles)
    failures = check_count(
        "failure_count", evidence.failure_count, least=0, most=len(evidence.life_cycles)
    )
    worst = least_target_lives(
        evidence.life_cycles, count, shape_low=shape_low, shape_high=shape_high
    )
    upper = remaining_failures_upper(
        worst.target_lives,
        failures,
        remaining_units=remaining_units,
        confidence=evidence.confidence,
    )
    expected: float | NotEstimable = NotEstimable(reason="NO_FAILURES")
    if failures:
        rate = failures / worst.target_lives if worst.target_lives > 0.0 else math.inf
        expected = -remaining_units * math.expm1(-rate)
    return RemainingFailures(
        failures_upper=upper,
        failures_expected=expected,
        remaining_units=remaining_units,
        up_to_cycles=count,
        runs_to_count=worst.target_lives,
        shape=worst.shape,
        shape_low=shape_low,
        shape_high=shape_high,
        failure_count=failures,
        confidence=evidence.confidence,
    )


def remaining_nonconforming(
    lot_size: int, unit_count: int, failure_count: int, *, confidence: float
) -> RemainingNonconforming:
    """
    Units that would fail among the untested ones of a lot, from counted failures.

    Parameters
    ----------
    lot_size : int, 1 to 2**53
        Units in the lot before sampling.
    unit_count : int, 0 to lot_size
        Units drawn at random and run to the target once, those that failed included.
    failure_count : int, 0 to unit_count
        Units that failed before the target.
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence. No unit.

    Returns
    -------
    RemainingNonconforming
        Most units of the rest that would fail before the target, and the fraction of the
        rest that would not (1 where nothing remains).

    Raises
    ------
    OutsideDomainError
        If a count is no whole number in its range or `confidence` is not strictly
        between 0 and 1.

    Notes
    -----
    The bound of `nonconforming_upper` less the failures found. It needs no life
    distribution: drawing at random decides which units are tested, and the hypergeometric
    chance is exact whatever the process that made the lot.

    Examples
    --------
    >>> rest = remaining_nonconforming(250, 40, 3, confidence=0.95)
    >>> rest.nonconforming_upper, rest.remaining_units
    (40, 210)

    Three of 40 units failed: no more than 40 of the other 210 would, with 95 % confidence.
    """
    bound = nonconforming_upper(lot_size, unit_count, failure_count, confidence=confidence)
    remaining = bound.lot_size - bound.unit_count
    upper = bound.nonconforming_remaining_upper
    return RemainingNonconforming(
        nonconforming_upper=upper,
        remaining_units=remaining,
        conforming_fraction_lower=(remaining - upper) / remaining if remaining else 1.0,
        lot_size=bound.lot_size,
        unit_count=bound.unit_count,
        failure_count=bound.failure_count,
        confidence=confidence,
    )
