"""Limits from the curvature of the log-likelihood at its maximum, taken on the log scale."""

import math
from collections.abc import Sequence

import numpy as np
from scipy import special

from analysis.checks import FloatArray, check_fraction
from analysis.statistics.fit_quantities import (
    SHAPE_NOT_FITTED,
    check_cycles,
    check_fractions,
    cycles_of,
    standard_quantiles,
    survival,
)
from schemas.fit_limits import BLifeLimits, FitLimits, Limits, ReliabilityLimits
from schemas.fits import LifeFit


def fisher_limits(
    fit: LifeFit, *, confidence: float, at_cycles: Sequence[float], fractions: Sequence[float]
) -> FitLimits:
    """
    Limits of scale, shape, reliability and lives of a fit, from its covariance.

    Quick and given for every fit, but too optimistic where failures are few: see
    `analysis.statistics.limit_advice`.

    Parameters
    ----------
    fit : LifeFit
        The fit, with its covariance.
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence of each limit alone; a pair holds with 2 C - 1.
    at_cycles : sequence of float, finite, > 0, keyword only
        Counts at which the reliability is asked for. Cycles.
    fractions : sequence of float, 0 < fraction < 1, keyword only
        Failed fractions whose lives are asked for: 0.1 for the B10 life.

    Returns
    -------
    FitLimits
        A limit beyond every number a computer holds is ``NO_FINITE_LIMIT``; the shape of
        an exponential is ``SHAPE_NOT_FITTED``.

    Raises
    ------
    OutsideDomainError
        If `confidence`, a count or a fraction is outside its range.

    Notes
    -----
    With z the normal quantile of the confidence and v the covariance of (location, ln
    spread): ``scale exp(+-z sqrt(v11))``, ``shape exp(+-z sqrt(v22))``; a log life
    ``location + spread w`` has variance ``v11 + 2 spread w v12 + (spread w)**2 v22``, and
    the standard form u reached at a count has that variance at w = u over spread**2. The
    limits of the reliability are those of u, so they stay between 0 and 1 [1]_.

    References
    ----------
    .. [1] W. Q. Meeker, L. A. Escobar and F. G. Pascual, "Statistical Methods for
           Reliability Data", 2nd edition, 2022, chapter 8. (From memory.)

    Examples
    --------
    >>> from analysis.statistics.life_fit import life_fit
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([41_000, 52_000, *[60_000] * 10], [True, True, *[False] * 10])
    >>> limits = fisher_limits(
    ...     life_fit(lives, "WEIBULL"), confidence=0.90, at_cycles=[40_000], fractions=[0.1]
    ... )
    >>> [round(each) for each in (limits.scale_cycles.lower, limits.b_lives[0].lower_cycles)]
    [58558, 40659]
    >>> round(limits.reliability[0].lower, 3)
    0.828

    Two failures: the limits are there, and not to be trusted as far as they say.
    """
    check_fraction("confidence", confidence)
    cycles, shares = check_cycles(at_cycles), check_fractions(fractions)
    z = float(special.ndtri(confidence))
    return FitLimits(
        method="FISHER_LOG",
        distribution=fit.distribution,
        confidence=confidence,
        unit_count=fit.unit_count,
        failure_count=fit.failure_count,
        location=_location(fit, z),
        spread=_spread(fit, z, sign=1.0),
        scale_cycles=_scale(fit, z),
        shape=_spread(fit, z, sign=-1.0),
        reliability=_reliability(fit, z, cycles),
        b_lives=_b_lives(fit, z, shares),
    )


def _location(fit: LifeFit, z: float) -> Limits:
    """Limits of the location, symmetric about it."""
    reach = z * math.sqrt(fit.covariance.location_variance)
    return Limits(estimate=fit.location, lower=fit.location - reach, upper=fit.location + reach)


def _scale(fit: LifeFit, z: float) -> Limits:
    """Limits of the scale, symmetric in its logarithm."""
    reach = z * math.sqrt(fit.covariance.location_variance)
    return Limits(
        estimate=fit.scale_cycles,
        lower=cycles_of(fit.location - reach),
        upper=cycles_of(fit.location + reach),
    )


def _spread(fit: LifeFit, z: float, *, sign: float) -> Limits:
    """Limits of the spread, or of the shape where `sign` is -1."""
    log_estimate = sign * math.log(fit.spread)
    if fit.distribution == "EXPONENTIAL":
        return Limits(estimate=1.0, lower=SHAPE_NOT_FITTED, upper=SHAPE_NOT_FITTED)
    reach = z * math.sqrt(fit.covariance.log_spread_variance)
    return Limits(
        estimate=fit.spread**sign,
        lower=cycles_of(log_estimate - reach),
        upper=cycles_of(log_estimate + reach),
    )


def _deviations(fit: LifeFit, standard: FloatArray) -> FloatArray:
    """Standard error of the log life at points of the standard form."""
    moved = fit.spread * standard
    v = fit.covariance
    variance = (
        v.location_variance + 2.0 * moved * v.covariance + moved * moved * v.log_spread_variance
    )
    return np.sqrt(np.maximum(variance, 0.0))


def _reliability(fit: LifeFit, z: float, cycles: FloatArray) -> tuple[ReliabilityLimits, ...]:
    """Limits of the reliability at each count."""
    standard = (np.log(cycles) - fit.location) / fit.spread
    reach = z * _deviations(fit, standard) / fit.spread
    columns = (
        cycles,
        survival(standard, fit.distribution),
        survival(standard + reach, fit.distribution),
        survival(standard - reach, fit.distribution),
    )
    return tuple(
        ReliabilityLimits(at_cycles=at, estimate=estimate, lower=lower, upper=upper)
        for at, estimate, lower, upper in zip(*(each.tolist() for each in columns), strict=True)
    )


def _b_lives(fit: LifeFit, z: float, fractions: FloatArray) -> tuple[BLifeLimits, ...]:
    """Limits of the life at each failed fraction."""
    standard = standard_quantiles(fractions, fit.distribution)
    log_lives = fit.location + fit.spread * standard
    reach = z * _deviations(fit, standard)
    return tuple(
        BLifeLimits(
            fraction=float(fraction),
            estimate_cycles=cycles_of(float(log_life)),
            lower_cycles=cycles_of(float(log_life - around)),
            upper_cycles=cycles_of(float(log_life + around)),
        )
        for fraction, log_life, around in zip(fractions, log_lives, reach, strict=True)
    )
