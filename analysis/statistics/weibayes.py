"""Demonstrations with the Weibull shape known beforehand: target lives and what they show.

A unit that ran t cycles counts as (t / target)**shape *target lives*. In that clock a lot
has a constant failure rate, so failures against the sum of target lives are a Poisson count.
"""

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analysis.checks import (
    FloatArray,
    check_count,
    check_fraction,
    check_lives,
    check_not_negative,
    check_positive,
)
from analysis.errors import OutsideDomainError
from analysis.statistics.rounding import reaches
from schemas.estimates import NotEstimable, WeibayesBound


def target_lives(life_cycles: ArrayLike, target_cycles: float, *, shape: float) -> float:
    """
    How many runs to the target the cycles of a lot amount to.

    Parameters
    ----------
    life_cycles : array_like of float, shape (n,), n >= 0, finite, >= 0
        Counted cycles of each unit, failed or not. Cycles. A unit not started counts 0.
    target_cycles : float, finite, > 0
        The target life. Cycles.
    shape : float, finite, > 0, keyword only
        Weibull shape (beta), assumed from earlier evidence, not from this lot.

    Returns
    -------
    float
        Sum of ``(life / target)**shape`` over all units. Target lives.

    Raises
    ------
    OutsideDomainError
        If a life, the target or the shape is outside its range, or the sum is too
        large for a number.

    Examples
    --------
    >>> target_lives([200_000] * 12, 100_000, shape=2.0)
    48.0

    Twelve units that ran twice the target count as 48 that ran it once, if the shape is 2.
    """
    lives = check_lives("life_cycles", life_cycles)
    target = check_positive("target_cycles", target_cycles)
    check_positive("shape", shape)
    with np.errstate(over="ignore", under="ignore"):
        total = float(((lives / target) ** shape).sum())
    if not math.isfinite(total):
        raise OutsideDomainError("shape", shape, "small enough for a finite sum of target lives")
    return total


def target_lives_required(reliability: float, confidence: float, *, allowed_failures: int) -> float:
    """
    Sum of target lives that demonstrates a reliability at the target.

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
    float
        Target lives to run; not rounded.

    Raises
    ------
    OutsideDomainError
        If a fraction is not strictly between 0 and 1 or `allowed_failures` is no
        whole number of 0 or more.

    Notes
    -----
    ``chi2(C; 2 a + 2) / (-2 ln R)``. Exact for a test that ends when the realised sum
    reaches this number, units leaving on failure included: failures are then a
    Poisson count. Not exact for a fixed number of units run to a common count with
    a failure allowed; use the binomial form there.

    Examples
    --------
    >>> [round(target_lives_required(0.95, 0.90, allowed_failures=a), 2) for a in (0, 1)]
    [44.89, 75.83]

    An allowed failure costs about 31 target lives more.
    """
    check_fraction("reliability", reliability)
    check_fraction("confidence", confidence)
    allowed = check_count("allowed_failures", allowed_failures, least=0)
    return _failures_exceeded(allowed, confidence) / -math.log(reliability)


def reaches_requirement(target_lives: float, required: float) -> bool:
    """
    Whether a sum of target lives meets a requirement, rounding error aside.

    Parameters
    ----------
    target_lives : float, finite, >= 0
        Realised sum. Target lives.
    required : float, finite, >= 0
        What `target_lives_required` asks. Target lives.

    Raises
    ------
    OutsideDomainError
        If one of them is no finite number of 0 or more.

    Notes
    -----
    A relative shortfall of 1e-12 counts as rounding error.

    Examples
    --------
    >>> reaches_requirement(48.0, 44.89), reaches_requirement(44.88, 44.89)
    (True, False)
    """
    return reaches(
        check_not_negative("target_lives", target_lives),
        check_not_negative("required", required),
    )


def reliability_lower_from_target_lives(
    target_lives: float, failure_count: int, *, confidence: float
) -> float:
    """
    Reliability at the target that the lot exceeds with the stated confidence.

    Parameters
    ----------
    target_lives : float, finite, >= 0
        Sum of target lives over all units, failed or not. Target lives.
    failure_count : int, >= 0
        Failures in that sum.
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence of the limit. No unit.

    Returns
    -------
    float
        Lower limit of the reliability at the target; 0 when nothing has run.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    ``exp(-chi2(C; 2 r + 2) / (2 S))``. With no failure ``(1 - C)**(1 / S)``, the success
    run of S units.

    Examples
    --------
    >>> round(reliability_lower_from_target_lives(48.0, 0, confidence=0.90), 4)
    0.9532

    Forty-eight target lives without a failure show 95.3 % with 90 % confidence.
    """
    total, failures = _check_result(target_lives, failure_count, confidence)
    if total == 0.0:
        return 0.0
    return math.exp(-_failures_exceeded(failures, confidence) / total)


def reliability_upper_from_target_lives(
    target_lives: float, failure_count: int, *, confidence: float
) -> float:
    """
    Reliability at the target that the lot stays below with the stated confidence.

    Parameters, range and errors are those of `reliability_lower_from_target_lives`.

    Returns
    -------
    float
        Upper limit of the reliability at the target; 1 when nothing failed, 0 when
        units failed and none had run.

    Notes
    -----
    ``exp(-chi2(1 - C; 2 r) / (2 S))``.

    Examples
    --------
    >>> round(reliability_upper_from_target_lives(20.0, 4, confidence=0.95), 4)
    0.934

    Four failures in 20 target lives: below 93.4 % with 95 % confidence.
    """
    total, failures = _check_result(target_lives, failure_count, confidence)
    if failures == 0:
        return 1.0
    if total == 0.0:
        return 0.0
    return math.exp(-float(special.gammainccinv(failures, confidence)) / total)


def weibayes_bound(
    life_cycles: ArrayLike,
    *,
    failure_count: int,
    shape: float,
    confidence: float,
    terminated_at_failure: bool,
) -> WeibayesBound:
    """
    Lower bound on Weibull life when the shape is known beforehand.

    Parameters
    ----------
    life_cycles : array_like of float, shape (n,), n >= 1, finite, >= 0
        Counted cycles of each unit until it failed or stopped. Cycles.
    failure_count : int, 0 to n, keyword only
        Units whose life ended in a relevant failure.
    shape : float, finite, > 0, keyword only
        Weibull shape (beta), assumed from earlier evidence, not from this lot.
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence of the bound.
    terminated_at_failure : bool, keyword only
        True if the test was planned to end at its last failure, False if at a count.

    Returns
    -------
    WeibayesBound
        Scale (eta) estimated and bounded from below, in cycles, with methods for the
        reliability at any count and for B-lives. A bound of 0 cycles means that no unit
        has run.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range, or the test ended at a failure and
        there is none.

    Notes
    -----
    With the shape known, ``life**shape`` is exponential, so the sum T over all units
    and the r failures bound the scale: ``(2 T / chi2(C; k))**(1 / shape)``. k is
    2 r + 2 for a test stopped at a count and 2 r for one stopped at its r-th failure.
    No failure is the normal case, not an error. Lives are divided by the longest one
    so that a large shape cannot overflow.

    References
    ----------
    .. [1] W. Nelson, "Weibull analysis of reliability data with few or no
           failures", Journal of Quality Technology 17(3), 140-146, 1985.
           (Citation as given by a second library; original not read.)

    Examples
    --------
    Six units, one failed at 42 000 cycles, five stopped unbroken at 60 000:

    >>> bound = weibayes_bound(
    ...     [60_000] * 5 + [42_000],
    ...     failure_count=1, shape=2.0, confidence=0.90, terminated_at_failure=False,
    ... )
    >>> round(bound.scale_lower_cycles)
    71282
    >>> round(bound.reliability_lower(30_000), 4)
    0.8377

    At 30 000 cycles at least 83.7 % survive, with 90 % confidence, if the shape
    is 2.0; quote the shape and its source with the number.
    """
    lives = check_lives("life_cycles", life_cycles)
    units = check_count("number of life_cycles", lives.size, least=1)
    failures = check_count("failure_count", failure_count, least=0, most=units)
    check_positive("shape", shape)
    check_fraction("confidence", confidence)
    if terminated_at_failure and failures == 0:
        raise OutsideDomainError(
            "failure_count", failure_count, "1 or more when the test ended at a failure"
        )
    failures_or_more = failures if terminated_at_failure else failures + 1
    quantile = float(special.gammaincinv(failures_or_more, confidence))
    point: float | NotEstimable = NotEstimable(reason="NO_FAILURES")
    if failures:
        point = _scale_cycles(lives, shape, failures)
    return WeibayesBound(
        scale_point_cycles=point,
        scale_lower_cycles=_scale_cycles(lives, shape, quantile),
        degrees_of_freedom=2 * failures_or_more,
        shape=shape,
        confidence=confidence,
        unit_count=units,
        failure_count=failures,
        terminated_at_failure=terminated_at_failure,
    )


def _failures_exceeded(failure_count: int, confidence: float) -> float:
    """Mean of a Poisson count that gives `failure_count` or fewer with chance 1 - C."""
    if failure_count == 0:
        return -math.log1p(-confidence)
    # Half a chi-square quantile on 2 r + 2 degrees of freedom is this gamma quantile.
    return float(special.gammaincinv(failure_count + 1, confidence))


def _check_result(target_lives: float, failure_count: int, confidence: float) -> tuple[float, int]:
    """Check what a test gave and the confidence asked; give the sum and the failures."""
    total = check_not_negative("target_lives", target_lives)
    failures = check_count("failure_count", failure_count, least=0)
    check_fraction("confidence", confidence)
    return total, failures


def _scale_cycles(lives: FloatArray, shape: float, divisor: float) -> float:
    """``(sum of lives**shape / divisor)**(1 / shape)``, scaled by the longest life."""
    longest = float(lives.max())
    if longest == 0.0:
        return 0.0
    with np.errstate(under="ignore"):
        total = float(((lives / longest) ** shape).sum())
    log_ratio = math.log(total / divisor) / shape
    if max(log_ratio, log_ratio + math.log(longest)) > 709.0:  # near the largest number
        raise OutsideDomainError("shape", shape, "large enough for a finite scale in cycles")
    return float(longest * (total / divisor) ** (1.0 / shape))
