"""Limits of a fit from its likelihood: values whose likelihood has not dropped too far."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy import special

from analysis.checks import FloatArray, check_fraction
from analysis.errors import OutsideDomainError
from analysis.statistics.contour_extremes import Questions, extremes
from analysis.statistics.fit_quantities import (
    SHAPE_NOT_FITTED,
    check_cycles,
    check_fractions,
    cycles_of,
    number_or_none,
    standard_quantiles,
    survival,
)
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.likelihood_contour import likelihood_contour, ray_lengths
from analysis.statistics.likelihood_surface import Surface, likelihood_surface, slopes_at
from analysis.statistics.log_likelihood import sort_lives
from schemas.estimates import NotEstimable
from schemas.fit_limits import BLifeLimits, FitLimits, Limits, ReliabilityLimits
from schemas.fits import Distribution, LifeFit


class _Ranges(NamedTuple):
    """Smallest and largest log life at each standard point, standard form and 1 / spread."""

    log_lives: tuple[FloatArray, FloatArray]  # from the surface's center; the first is w = 0
    standards: tuple[FloatArray, FloatArray]
    shape: tuple[float, float] | None


def likelihood_limits(
    records: LifeRecords,
    distribution: Distribution,
    *,
    confidence: float,
    at_cycles: Sequence[float],
    fractions: Sequence[float],
) -> FitLimits | NotEstimable:
    """
    Limits of scale, shape, reliability and lives from the likelihood ratio.

    The better choice where failures are few: the limits follow the likelihood wherever it
    leads instead of its curvature at the maximum.

    Parameters
    ----------
    records : LifeRecords
        Lives of a lot, exact, unbroken or bracketed. Cycles.
    distribution : {"WEIBULL", "LOGNORMAL", "EXPONENTIAL"}
    confidence : float, 0.5 < confidence < 1, keyword only
        One-sided confidence of each limit alone; a pair holds with 2 C - 1.
    at_cycles : sequence of float, finite, > 0, keyword only
        Counts at which the reliability is asked for. Cycles.
    fractions : sequence of float, 0 < fraction < 1, keyword only
        Failed fractions whose lives are asked for: 0.1 for the B10 life.

    Returns
    -------
    FitLimits or NotEstimable
        The limits; or the reason of `life_fit` why there is no fit. A single limit that
        does not exist is ``NO_FINITE_LIMIT``: the likelihood allows the quantity to run
        without end or beyond every number a computer holds. The shape of an exponential
        is ``SHAPE_NOT_FITTED``.

    Raises
    ------
    OutsideDomainError
        If `confidence` is not above 0.5 (no likelihood ratio tells less than a coin), or
        `confidence`, a count or a fraction is outside its range.
    DidNotConvergeError
        If a search does not end; no data are known for which that happens.

    Notes
    -----
    A limit is the value of the quantity at which its profile log-likelihood has dropped by
    half the chi-square quantile (one degree of freedom) of 2 C - 1, which is half the
    squared normal quantile of C [1]_. The two-parameter forms take all limits from one
    closed curve of that drop, where each quantity has one smallest and one largest value
    (`contour_extremes`); the exponential has one parameter and two ends.

    References
    ----------
    .. [1] W. Q. Meeker, L. A. Escobar and F. G. Pascual, "Statistical Methods for
           Reliability Data", 2nd edition, 2022, chapter 8. (From memory; checked against
           profiles by a general minimiser in the tests.)

    Examples
    --------
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([41_000, 52_000, *[60_000] * 10], [True, True, *[False] * 10])
    >>> limits = likelihood_limits(
    ...     lives, "WEIBULL", confidence=0.90, at_cycles=[40_000], fractions=[0.1]
    ... )
    >>> [round(each) for each in (limits.scale_cycles.lower, limits.b_lives[0].lower_cycles)]
    [69768, 34179]
    >>> round(limits.reliability[0].lower, 3)
    0.869

    Each of these holds by itself with 90 % confidence.
    """
    if check_fraction("confidence", confidence) <= 0.5:
        allowed = "above 0.5 for limits from a likelihood ratio"
        raise OutsideDomainError("confidence", confidence, allowed)
    cycles, shares = check_cycles(at_cycles), check_fractions(fractions)
    fit = life_fit(records, distribution)
    if isinstance(fit, NotEstimable):
        return fit
    lives = sort_lives(records, distribution)
    surface = likelihood_surface(lives, typical_spread=fit.spread)
    peak = ((fit.location - lives.center) / fit.spread, 1.0 / fit.spread)
    asked = (
        np.log(cycles) - lives.center,
        np.concatenate([[0.0], standard_quantiles(shares, distribution)]),
    )
    depth = float(special.ndtri(confidence))
    if distribution == "EXPONENTIAL":
        ranges = _ranges_of_line(surface, peak[0], depth, asked)
    else:
        ranges = _ranges_of_curve(surface, peak, depth, asked)
    return _limits(fit, ranges, confidence, lives.center, (cycles, shares))


def _ranges_of_curve(
    surface: Surface,
    peak: tuple[float, float],
    depth: float,
    asked: tuple[FloatArray, FloatArray],
) -> _Ranges:
    """Extremes on the closed curve of two parameters, all quantities at once."""
    log_cycles, standards = asked
    lives, counts = standards.size, log_cycles.size
    questions = Questions(
        by_a=np.concatenate([np.ones(lives), -np.ones(counts), [0.0]]),
        by_b=np.concatenate([np.zeros(lives), log_cycles, [1.0]]),
        constant=np.concatenate([standards, np.zeros(counts + 1)]),
        over_b=np.arange(lives + counts + 1) < lives,
    )
    contour = likelihood_contour(surface, peak, depth)
    low, high = extremes(contour, questions)
    return _Ranges(
        log_lives=(low[:lives], high[:lives]),
        standards=(low[lives:-1], high[lives:-1]),
        shape=(float(low[-1]), float(high[-1])),
    )


def _ranges_of_line(
    surface: Surface, location: float, depth: float, asked: tuple[FloatArray, FloatArray]
) -> _Ranges:
    """Both ends of the location where the spread is 1."""
    log_cycles, standards = asked
    curvature = -float(slopes_at(surface, np.array([location]), np.ones(1)).by_aa[0])
    step = 1.0 / math.sqrt(curvature)
    directions = (np.array([-step, step]), np.zeros(2))
    down, up = ray_lengths(surface, (location, 1.0), directions, depth).tolist()
    low, high = location - down * step, location + up * step
    return _Ranges(
        log_lives=(low + standards, high + standards),
        standards=(log_cycles - high, log_cycles - low),
        shape=None,
    )


def _limits(
    fit: LifeFit,
    ranges: _Ranges,
    confidence: float,
    center: float,
    asked: tuple[FloatArray, FloatArray],
) -> FitLimits:
    """Ranges in the quantities' own units, beside the fit's estimates."""
    low, high = (center + each for each in ranges.log_lives)
    spread, shape = _spread_and_shape(fit, ranges.shape)
    return FitLimits(
        method="LIKELIHOOD_RATIO",
        distribution=fit.distribution,
        confidence=confidence,
        unit_count=fit.unit_count,
        failure_count=fit.failure_count,
        location=Limits(
            estimate=fit.location,
            lower=number_or_none(float(low[0])),
            upper=number_or_none(float(high[0])),
        ),
        spread=spread,
        scale_cycles=Limits(
            estimate=fit.scale_cycles,
            lower=_lower_cycles(float(low[0])),
            upper=cycles_of(float(high[0])),
        ),
        shape=shape,
        reliability=_reliability(fit, ranges.standards, asked[0]),
        b_lives=_b_lives(fit, (low[1:], high[1:]), asked[1]),
    )


def _spread_and_shape(fit: LifeFit, shape: tuple[float, float] | None) -> tuple[Limits, Limits]:
    """Limits of the spread and of its inverse; a shape that may fall to 0 has no lower one."""
    if shape is None:
        given = Limits(estimate=1.0, lower=SHAPE_NOT_FITTED, upper=SHAPE_NOT_FITTED)
        return given, given
    low, high = shape
    lower = low if low > 0.0 else number_or_none(-math.inf)
    wide = 1.0 / low if low > 0.0 else number_or_none(math.inf)
    return (
        Limits(estimate=fit.spread, lower=1.0 / high, upper=wide),
        Limits(estimate=fit.shape, lower=lower, upper=high),
    )


def _lower_cycles(log_cycles: float) -> float | NotEstimable:
    """A lower limit in cycles; none where the life may run to 0."""
    found = number_or_none(log_cycles)
    return found if isinstance(found, NotEstimable) else cycles_of(found)


def _reliability(
    fit: LifeFit, standards: tuple[FloatArray, FloatArray], cycles: FloatArray
) -> tuple[ReliabilityLimits, ...]:
    """Limits of the reliability at each count: the lower one where most hazard has built up."""
    at = (np.log(cycles) - fit.location) / fit.spread
    columns = (
        cycles,
        survival(at, fit.distribution),
        survival(standards[1], fit.distribution),
        survival(standards[0], fit.distribution),
    )
    return tuple(
        ReliabilityLimits(at_cycles=count, estimate=estimate, lower=lower, upper=upper)
        for count, estimate, lower, upper in zip(*(each.tolist() for each in columns), strict=True)
    )


def _b_lives(
    fit: LifeFit, log_lives: tuple[FloatArray, FloatArray], fractions: FloatArray
) -> tuple[BLifeLimits, ...]:
    """Limits of the life at each failed fraction."""
    estimates = fit.location + fit.spread * standard_quantiles(fractions, fit.distribution)
    return tuple(
        BLifeLimits(
            fraction=fraction,
            estimate_cycles=cycles_of(estimate),
            lower_cycles=_lower_cycles(low),
            upper_cycles=cycles_of(high),
        )
        for fraction, estimate, low, high in zip(
            fractions.tolist(),
            estimates.tolist(),
            log_lives[0].tolist(),
            log_lives[1].tolist(),
            strict=True,
        )
    )
