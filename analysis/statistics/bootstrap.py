"""Limits of a Weibull fit from fits to lots drawn again, all resamples fitted at once."""

import math
from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from analysis.checks import FloatArray, check_count, check_fraction
from analysis.errors import OutsideDomainError
from analysis.statistics.fit_quantities import (
    check_cycles,
    check_fractions,
    cycles_of,
    standard_quantiles,
    survival,
)
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.weibull_batch import WeibullBatch, weibull_batch
from schemas.estimates import NotEstimable
from schemas.fit_limits import (
    BLifeLimits,
    BootstrapLimits,
    Limits,
    ReliabilityLimits,
    ResamplingKind,
)
from schemas.fits import LifeFit

_ROWS_TIMES_LIVES = 1 << 21
"""Resampled lives held at once: 16 MB an array."""
_RANK_SLACK = 1e-9
"""What a rank may miss a whole number by through rounding."""
_TOO_MANY = NotEstimable(reason="TOO_MANY_RESAMPLES_WITHOUT_MAXIMUM")


class Resampling(Struct, frozen=True, kw_only=True):
    """
    How lots are drawn again, how many, and the generator that draws them.

    PARAMETRIC draws lives from the fitted Weibull and stops them as the lot's were;
    NON_PARAMETRIC draws the lot's own lives with replacement.
    """

    kind: ResamplingKind
    resample_count: int
    rng: np.random.Generator


class _Refits(Struct, frozen=True):
    """Refitted log scales and shapes, and how many lots were drawn for them."""

    log_scales: FloatArray
    shapes: FloatArray
    drawn: int


def bootstrap_limits(
    records: LifeRecords,
    resampling: Resampling,
    *,
    confidence: float,
    at_cycles: Sequence[float],
    fractions: Sequence[float],
) -> BootstrapLimits | NotEstimable:
    """
    Limits of Weibull scale, shape, reliability and lives by resampling the lot.

    Parameters
    ----------
    records : LifeRecords
        Lives of a lot, exact or unbroken. Cycles.
    resampling : Resampling
        Kind, number of resamples (enough that a limit has a rank:
        ``(count + 1) (1 - confidence) >= 1``) and the generator; the same generator state
        gives the same limits.
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence of each limit alone; a pair holds with 2 C - 1.
    at_cycles : sequence of float, finite, > 0, keyword only
        Counts at which the reliability is asked for. Cycles.
    fractions : sequence of float, 0 < fraction < 1, keyword only
        Failed fractions whose lives are asked for: 0.1 for the B10 life.

    Returns
    -------
    BootstrapLimits or NotEstimable
        The limits with the share of resamples that had no fit; or the reason of
        `life_fit` why the lot has none, or ``BRACKETED_LIVES``. A limit that the
        resamples without a fit could have moved is ``TOO_MANY_RESAMPLES_WITHOUT_MAXIMUM``.

    Raises
    ------
    OutsideDomainError
        If the number of resamples is too small for the confidence, or `confidence`, a
        count or a fraction is outside its range.

    Notes
    -----
    Percentile limits: the lower one is the resampled value of rank ``(count + 1)(1 - C)``
    from below, the upper one that rank from above. A resample without a fit is put below
    all others for every lower limit and above all others for every upper one.

    Parametric resamples keep the stop of each unit that did not fail. A unit that failed
    had a stop too, which nobody saw: it is drawn anew each time from the Kaplan-Meier
    estimate of the stops, given that it lies at or beyond that failure; where that
    estimate runs out, the unit has no stop [1]_. With one count at which all units stop,
    every unit is stopped there. Non-parametric resamples are multinomial counts over the
    distinct lives, not draws of single units: the same distribution, faster.

    References
    ----------
    .. [1] A. C. Davison and D. V. Hinkley, "Bootstrap Methods and their Application",
           1997, sections 3.5 (conditional resampling of censored lives) and 5.3
           (percentile limits). (From memory.)

    Examples
    --------
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([41_000, 52_000, *[60_000] * 10], [True, True, *[False] * 10])
    >>> resampling = Resampling(
    ...     kind="NON_PARAMETRIC", resample_count=999, rng=np.random.default_rng(1)
    ... )
    >>> limits = bootstrap_limits(
    ...     lives, resampling, confidence=0.80, at_cycles=[40_000], fractions=[]
    ... )
    >>> limits.without_maximum_count, limits.reliability[0].lower > 0.8
    (113, True)
    >>> limits.shape.upper > limits.shape.estimate
    True

    Two failures of 12: about one resample in nine has no failure at all, which is said.
    """
    rank = _rank(resampling.resample_count, check_fraction("confidence", confidence))
    cycles, shares = check_cycles(at_cycles), check_fractions(fractions)
    if records.has_brackets:
        return NotEstimable(reason="BRACKETED_LIVES")
    fit = life_fit(records, "WEIBULL")
    if isinstance(fit, NotEstimable):
        return fit
    refits = _refits(records, fit, resampling)
    without = refits.drawn - refits.shapes.size
    rank -= without
    return BootstrapLimits(
        kind=resampling.kind,
        confidence=confidence,
        resample_count=refits.drawn,
        without_maximum_count=without,
        without_maximum_share=without / refits.drawn,
        unit_count=records.unit_count,
        failure_count=records.failure_count,
        scale_cycles=_scale(fit, refits, rank),
        shape=_shape(fit, refits, rank),
        reliability=tuple(_reliability(fit, refits, rank, each) for each in cycles.tolist()),
        b_lives=tuple(_b_life(fit, refits, rank, each) for each in shares.tolist()),
    )


def _rank(resample_count: int, confidence: float) -> int:
    """Rank of a limit among the resamples, from its own end."""
    count = check_count("resample_count", resample_count, least=1)
    rank = math.floor((count + 1) * (1.0 - confidence) + _RANK_SLACK)
    if rank < 1:
        least = math.ceil(1.0 / (1.0 - confidence) - _RANK_SLACK) - 1
        allowed = f"at least {least} for a confidence of {confidence}"
        raise OutsideDomainError("resample_count", resample_count, allowed)
    return min(rank, count)


def _refits(records: LifeRecords, fit: LifeFit, resampling: Resampling) -> _Refits:
    """Fits to all resamples, those without one left out."""
    draw = _parametric if resampling.kind == "PARAMETRIC" else _non_parametric
    batches = list(draw(records, fit, resampling))
    found = np.concatenate([batch.found for batch in batches])
    scales = np.concatenate([batch.scale_cycles for batch in batches])[found]
    shapes = np.concatenate([batch.shapes for batch in batches])[found]
    return _Refits(log_scales=np.log(scales), shapes=shapes, drawn=found.size)


def _row_counts(resample_count: int, life_count: int) -> Iterator[int]:
    """Numbers of resamples to draw at once."""
    rows = max(1, _ROWS_TIMES_LIVES // life_count)
    for first in range(0, resample_count, rows):
        yield min(rows, resample_count - first)


def _non_parametric(
    records: LifeRecords, fit: LifeFit, resampling: Resampling
) -> Iterator[WeibullBatch]:
    """Counts over the lot's distinct lives, drawn with its own shares."""
    failed = np.isfinite(records.high_cycles)
    shares = records.counts / records.counts.sum()
    for rows in _row_counts(resampling.resample_count, failed.size):
        counts = resampling.rng.multinomial(fit.unit_count, shares, size=rows)
        yield weibull_batch(records.low_cycles, counts, counts * failed)


def _parametric(
    records: LifeRecords, fit: LifeFit, resampling: Resampling
) -> Iterator[WeibullBatch]:
    """Lives of the fitted Weibull, each stopped where its unit would have been."""
    lives = np.repeat(records.low_cycles, records.counts.astype(np.int64))
    failed = np.repeat(np.isfinite(records.high_cycles), records.counts.astype(np.int64))
    stops, passed = stop_distribution(records)
    stopped_before = np.concatenate([[0.0], passed])[np.searchsorted(stops, lives[failed])]
    rng = resampling.rng
    for rows in _row_counts(resampling.resample_count, lives.size):
        stop = np.broadcast_to(lives, (rows, lives.size))
        if failed.any() and (stops.size > 1 or passed.size == 0 or passed[-1] < 1.0):
            places = rng.random((rows, stopped_before.size))
            places = stopped_before + places * (1.0 - stopped_before)
            stop = stop.copy()
            stop[:, failed] = np.append(stops, np.inf)[np.searchsorted(passed, places, "right")]
        elif failed.any():
            stop = np.broadcast_to(stops, (rows, lives.size))
        drawn = fit.scale_cycles * rng.standard_exponential((rows, lives.size)) ** fit.spread
        is_failure = drawn <= stop
        yield weibull_batch(
            np.minimum(drawn, stop),
            np.broadcast_to(np.int8(1), drawn.shape),
            is_failure.view(np.int8),
        )


def stop_distribution(records: LifeRecords) -> tuple[FloatArray, FloatArray]:
    """
    Counts at which units stopped without failing, and the share stopped by each.

    Parameters
    ----------
    records : LifeRecords
        Exact and unbroken lives.

    Returns
    -------
    tuple of two arrays
        Distinct stops in cycles, rising, and the Kaplan-Meier share stopped by each; the
        last share is below 1 where the longest life is a failure.

    Notes
    -----
    The product-limit estimate with the parts exchanged: a stop is the event, a failure
    hides it. At one count failures come before stops.

    Examples
    --------
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([50, 60, 70, 80], [False, True, False, False])
    >>> stops, shares = stop_distribution(lives)
    >>> stops.tolist(), shares.tolist()
    ([50.0, 70.0, 80.0], [0.25, 0.625, 1.0])
    """
    unbroken = np.isinf(records.high_cycles)
    stops, counts = records.low_cycles[unbroken], records.counts[unbroken]
    lives = np.sort(np.repeat(records.low_cycles, records.counts.astype(np.int64)))
    failures = np.sort(
        np.repeat(records.low_cycles[~unbroken], records.counts[~unbroken].astype(np.int64))
    )
    reached = lives.size - np.searchsorted(lives, stops, "left")
    failed_there = np.searchsorted(failures, stops, "right") - np.searchsorted(
        failures, stops, "left"
    )
    staying = 1.0 - counts / (reached - failed_there)
    return stops, 1.0 - np.cumprod(staying, dtype=np.float64)


def _pair(values: FloatArray, rank: int) -> tuple[float, float] | None:
    """Values of a rank from below and from above; None where the rank is used up."""
    if rank < 1:
        return None
    last = values.size - rank
    # A rank beyond the middle (a confidence below one half) puts the lower value above.
    ordered = np.partition(values, sorted({rank - 1, last}))
    return float(ordered[rank - 1]), float(ordered[last])


def _scale(fit: LifeFit, refits: _Refits, rank: int) -> Limits:
    """Limits of the scale."""
    pair = _pair(refits.log_scales, rank)
    lower, upper = (_TOO_MANY, _TOO_MANY) if pair is None else map(cycles_of, pair)
    return Limits(estimate=fit.scale_cycles, lower=lower, upper=upper)


def _shape(fit: LifeFit, refits: _Refits, rank: int) -> Limits:
    """Limits of the shape."""
    lower, upper = _pair(refits.shapes, rank) or (_TOO_MANY, _TOO_MANY)
    return Limits(estimate=fit.shape, lower=lower, upper=upper)


def _reliability(fit: LifeFit, refits: _Refits, rank: int, at: float) -> ReliabilityLimits:
    """Limits of the reliability at one count."""
    log_cycles = math.log(at)
    pair = _pair((log_cycles - refits.log_scales) * refits.shapes, rank)
    estimate = survival(np.array([(log_cycles - fit.location) / fit.spread]), "WEIBULL")
    lower: float | NotEstimable = _TOO_MANY
    upper: float | NotEstimable = _TOO_MANY
    if pair is not None:
        # The most hazard built up is the least reliability.
        upper, lower = survival(np.array(pair), "WEIBULL").tolist()
    return ReliabilityLimits(at_cycles=at, estimate=float(estimate[0]), lower=lower, upper=upper)


def _b_life(fit: LifeFit, refits: _Refits, rank: int, fraction: float) -> BLifeLimits:
    """Limits of the life at one failed fraction."""
    standard = float(standard_quantiles(np.array([fraction]), "WEIBULL")[0])
    pair = _pair(refits.log_scales + standard / refits.shapes, rank)
    lower, upper = (_TOO_MANY, _TOO_MANY) if pair is None else map(cycles_of, pair)
    return BLifeLimits(
        fraction=fraction,
        estimate_cycles=cycles_of(fit.location + standard * fit.spread),
        lower_cycles=lower,
        upper_cycles=upper,
    )
