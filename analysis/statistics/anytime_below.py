"""Evidence at any look that a lot is below its requirement (known shape)."""

import math

import numpy as np
from scipy import optimize

from analysis.checks import check_count, check_fraction, check_not_negative, check_positive

RATE_BELOW = 0.5
"""Rate of the exponential density on the true failure rate above the allowed one."""


def log_evidence_below(failure_count: int, requirement_lives: float) -> float:
    """
    Logarithm of the evidence that a lot is below its requirement.

    Parameters
    ----------
    failure_count : int, >= 0
        Relevant failures so far.
    requirement_lives : float, >= 0
        Target lives times ``-ln R``. Caution asks here for the most that may have been
        run: brackets to their end, running units to their last row.

    Returns
    -------
    float
        A lot at its requirement or above *ever* reaches ``-ln(1 - confidence)`` with a
        chance of at most 1 - confidence.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Notes
    -----
    The mean of ``rho^r exp(x (1 - rho))`` over ``rho - 1`` exponential with rate b:
    ``b sum (r!/k!) (x + b)^(k - r - 1)`` for k from 0 to r. It falls with x.

    Examples
    --------
    Two failures by 0.055 of the failures allowed:

    >>> round(math.exp(log_evidence_below(2, 0.055)), 1)
    10.0
    """
    count = check_count("failure_count", failure_count, least=0)
    lives = check_not_negative("requirement_lives", requirement_lives)
    # Terms from k = r down: each is the one before times (k + 1) / (x + b).
    factors = np.arange(count, 0, -1) / (lives + RATE_BELOW)
    logs = np.concatenate([[0.0], np.log(factors).cumsum()])
    largest = float(logs.max())
    total = largest + math.log(float(np.exp(logs - largest).sum()))
    return total + math.log(RATE_BELOW / (lives + RATE_BELOW))


def lives_shown_below(failure_count: int, *, confidence: float) -> float | None:
    """
    Target lives times ``-ln R`` by which so many failures show a lot below R.

    Parameters
    ----------
    failure_count : int, >= 0
    confidence : float, fraction, keyword only

    Returns
    -------
    float or None
        None where so few failures show nothing, however early they come.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Examples
    --------
    >>> lives_shown_below(1, confidence=0.90) is None
    True
    >>> round(lives_shown_below(8, confidence=0.90), 3)
    2.892
    """
    level = -math.log1p(-check_fraction("confidence", confidence))
    count = check_count("failure_count", failure_count, least=0)

    def above(lives: float) -> float:
        return log_evidence_below(count, lives) - level

    if above(0.0) < 0.0:
        return None
    high = 1.0
    while above(high) > 0.0:
        high *= 2.0
    return float(optimize.brentq(above, 0.0, high, xtol=1e-14, rtol=8.9e-16))


def anytime_upper_limit(
    target_lives: float, failure_count: int, *, confidence: float
) -> float | None:
    """
    Upper limit of reliability that holds at all looks together.

    Parameters
    ----------
    target_lives : float, > 0
        The most that may have been run; see `log_evidence_below`.
    failure_count : int, >= 0
    confidence : float, fraction, keyword only
        One-sided.

    Returns
    -------
    float or None
        Reliability at the target; None where so few failures limit nothing.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Examples
    --------
    >>> round(anytime_upper_limit(10.0, 8, confidence=0.90), 3)
    0.749
    """
    lives = check_positive("target_lives", target_lives)
    shown = lives_shown_below(failure_count, confidence=confidence)
    return None if shown is None else math.exp(-shown / lives)
