"""Evidence on target lives that keeps its promise however often one looks (known shape)."""

import math

from scipy import optimize

from analysis.checks import check_count, check_fraction, check_not_negative, check_positive
from analysis.statistics.rising_sums import log_gamma_sum
from schemas.anytime import AnytimePrior, PriorDensity

PRIORS: dict[AnytimePrior, PriorDensity] = {
    "CLEAN": PriorDensity(shape=0.5, rate=8.0),
    "EVEN": PriorDensity(shape=1.5, rate=8.0),
    "PATIENT": PriorDensity(shape=4.0, rate=12.0),
}


def log_evidence(failure_count: int, requirement_lives: float, *, prior: PriorDensity) -> float:
    """
    Logarithm of the evidence that a lot is better than its requirement.

    Parameters
    ----------
    failure_count : int, >= 0
        Relevant failures so far.
    requirement_lives : float, >= 0
        Target lives times ``-ln R``: the failures expected of a lot exactly at the
        requirement.
    prior : PriorDensity, keyword only
        Fixed before the first cycle; see `PRIORS`.

    Returns
    -------
    float
        0 without data. A lot at or below the requirement *ever* reaches
        ``-ln(1 - confidence)`` with a chance of at most 1 - confidence.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Notes
    -----
    With x for `requirement_lives` and rho for the true failure rate as a multiple of the
    allowed one, ``E(r, x)`` is the mean of ``rho^r exp(x (1 - rho))`` over the prior. For
    any rho >= 1 it is a non-negative supermartingale that begins at 1 (Ville 1939, Robbins
    1970; both from memory), whatever decides how many units run and when one looks, as
    long as that uses nothing but what is counted. With M(s, z) for the sum of
    `log_gamma_sum`, ``E = a/(a+r) M(a+r, b+x) / M(a, b)``.

    Examples
    --------
    >>> round(math.exp(log_evidence(0, 2.744, prior=PRIORS["EVEN"])), 2)
    10.0
    """
    count = check_count("failure_count", failure_count, least=0)
    lives = check_not_negative("requirement_lives", requirement_lives)
    shape, rate = check_positive("shape", prior.shape), check_positive("rate", prior.rate)
    return (
        math.log(shape / (shape + count))
        + log_gamma_sum(rate + lives, shape + count)
        - log_gamma_sum(rate, shape)
    )


def lives_to_accept(failure_count: int, *, confidence: float, prior: PriorDensity) -> float:
    """
    Target lives times ``-ln R`` from which a lot with so many failures is accepted.

    Parameters
    ----------
    failure_count : int, >= 0
    confidence : float, fraction, keyword only
    prior : PriorDensity, keyword only

    Returns
    -------
    float
        The same for every reliability, target and shape.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Examples
    --------
    >>> [round(lives_to_accept(r, confidence=0.90, prior=PRIORS["CLEAN"]), 3) for r in (0, 1)]
    [2.435, 5.904]
    """
    needed = -math.log1p(-check_fraction("confidence", confidence))
    return lives_reaching(failure_count, needed, prior=prior)


def lives_reaching(failure_count: int, log_level: float, *, prior: PriorDensity) -> float:
    """
    Target lives times ``-ln R`` at which the evidence reaches a level; 0 if it begins above.

    Parameters
    ----------
    failure_count : int, >= 0
    log_level : float
        Logarithm of the level.
    prior : PriorDensity, keyword only

    Returns
    -------
    float

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.
    """
    count = check_count("failure_count", failure_count, least=0)

    def above(lives: float) -> float:
        return log_evidence(count, lives, prior=prior) - log_level

    if above(0.0) >= 0.0:
        return 0.0
    # It grows by at least 1 - mean(rho) per unit of lives, in the end by almost 1.
    high = 2.0 * (count + abs(log_level) + 1.0)
    while above(high) < 0.0:
        high *= 2.0
    return float(optimize.brentq(above, 0.0, high, xtol=1e-13, rtol=8.9e-16))


def anytime_lower_limit(
    target_lives: float, failure_count: int, *, confidence: float, prior: PriorDensity
) -> float:
    """
    Lower limit of reliability that holds at all looks together.

    Parameters
    ----------
    target_lives : float, > 0
        Sum of (cycles / target)^shape that may be credited.
    failure_count : int, >= 0
    confidence : float, fraction, keyword only
        One-sided: the chance that no look ever shows a limit above the true reliability
        is at least this.
    prior : PriorDensity, keyword only

    Returns
    -------
    float
        Reliability at the target. The largest of all looks may be kept.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Notes
    -----
    ``exp(-x / target_lives)`` with x from `lives_to_accept`: at least R exactly when the
    plan accepts R.

    Examples
    --------
    Twelve units to twice the target at shape 2 are 48 target lives:

    >>> round(anytime_lower_limit(48.0, 0, confidence=0.90, prior=PRIORS["CLEAN"]), 4)
    0.9505
    """
    lives = check_positive("target_lives", target_lives)
    return math.exp(-lives_to_accept(failure_count, confidence=confidence, prior=prior) / lives)
