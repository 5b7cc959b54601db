"""Weibull fits of many lots, or of many resamples of one lot, at once."""

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike, NDArray

from analysis.checks import BoolArray, FloatArray
from analysis.errors import DidNotConvergeError, OutsideDomainError
from analysis.statistics.weibull_equation import (
    LAST_STEP,
    LONGEST_STEP,
    START_TIMES_DEVIATION,
    log_shares,
)

_BLOCK = 32_768  # Numbers worked on at once: a few arrays of this length stay in the cache.
_MOST_STEPS = 200
_NARROWEST = 1e-15
_LOG_LARGEST = 709.0


class WeibullBatch(Struct, frozen=True, kw_only=True):
    """
    Scale (cycles) and shape of each lot; both nan where `found` is False.

    A lot has no estimate for the reasons of `weibull_fit`; their share belongs beside
    every statistic of the others.
    """

    scale_cycles: FloatArray
    shapes: FloatArray
    found: BoolArray


def weibull_batch(
    life_cycles: ArrayLike, unit_counts: ArrayLike, failure_counts: ArrayLike
) -> WeibullBatch:
    """
    Weibull scale and shape of greatest likelihood for every row of counts.

    Parameters
    ----------
    life_cycles : array_like of float, shape (k,) or (b, k), finite, >= 0
        Lives shared by all rows (resamples of one lot) or each row's own (many lots).
        Cycles. Equal lives folded into one column make the fit faster.
    unit_counts : array_like of int or float, shape (b, k), >= 0
        Units of each row that reached each life and ended there, failed or not; 0 for a
        life the row does not hold.
    failure_counts : array_like of int or float, shape (b, k), 0 to `unit_counts`
        How many of them failed.

    Returns
    -------
    WeibullBatch
        Arrays of shape (b,).

    Raises
    ------
    OutsideDomainError
        If the shapes do not match, a life is negative or not finite, or a count is
        negative, not finite, or below its failures.
    DidNotConvergeError
        If a search does not end; no data are known for which it does not.

    Notes
    -----
    The equation and the safeguarded Newton steps of `weibull_fit` on all rows together;
    rows that have settled leave the block. Agrees with `weibull_fit` to 1e-12.

    Examples
    --------
    The lot itself, a resample of it, and a resample without any failure:

    >>> fits = weibull_batch(
    ...     [41_000, 52_000, 60_000],
    ...     [[1, 1, 10], [2, 1, 9], [0, 0, 12]],
    ...     [[1, 1, 0], [2, 1, 0], [0, 0, 0]],
    ... )
    >>> fits.found.tolist()
    [True, True, False]
    >>> fits.shapes.round(2).tolist()
    [4.05, 3.65, nan]
    """
    lives, units, failures = _checked(life_cycles, unit_counts, failure_counts)
    lot_count, life_count = units.shape
    scales, shapes = np.full(lot_count, np.nan), np.full(lot_count, np.nan)
    size = max(1, _BLOCK // max(1, life_count))
    start = _pooled_shape(lives, units, failures) if lives.ndim == 1 and life_count else np.nan
    for first in range(0, lot_count if life_count else 0, size):
        rows = slice(first, first + size)
        scales[rows], shapes[rows] = _fit_block(
            lives if lives.ndim == 1 else np.ascontiguousarray(lives[rows].T),
            np.ascontiguousarray(units[rows].T, dtype=np.float64),
            np.ascontiguousarray(failures[rows].T, dtype=np.float64),
            start=start,
        )
    return WeibullBatch(scale_cycles=scales, shapes=shapes, found=np.isfinite(shapes))


def _checked(
    life_cycles: ArrayLike, unit_counts: ArrayLike, failure_counts: ArrayLike
) -> tuple[FloatArray, NDArray[np.generic], NDArray[np.generic]]:
    """The arguments as arrays, or the first fault in them."""
    lives = np.asarray(life_cycles, dtype=np.float64)
    units, failures = np.asarray(unit_counts), np.asarray(failure_counts)
    if units.ndim != 2 or units.dtype.kind not in "iuf":
        raise OutsideDomainError("unit_counts", _described(units), "a table, one row per lot")
    if failures.shape != units.shape or failures.dtype.kind not in "iuf":
        raise OutsideDomainError("failure_counts", _described(failures), "shaped as unit_counts")
    if lives.shape not in ((units.shape[1],), units.shape):
        raise OutsideDomainError("life_cycles", _described(lives), "one row, or one per lot")
    if not ((lives >= 0.0) & (lives < np.inf)).all():
        raise OutsideDomainError("life_cycles", "a life outside", "finite, 0 or more")
    if not ((failures >= 0) & (failures <= units) & (units < np.inf)).all():
        raise OutsideDomainError("failure_counts", "a count outside", "0 to the finite unit count")
    return lives, units, failures


def _described(array: NDArray[np.generic]) -> str:
    return f"an array of shape {array.shape} and type {array.dtype}"


def _pooled_shape(
    lives: FloatArray, units: NDArray[np.generic], failures: NDArray[np.generic]
) -> float:
    """Shape of all rows together, close to each row's own where they are resamples."""
    pooled = [array.sum(axis=0, dtype=np.float64)[:, None] for array in (units, failures)]
    return float(_fit_block(lives, *pooled, start=np.nan)[1][0])


def _fit_block(
    lives: FloatArray, units: FloatArray, failures: FloatArray, *, start: float
) -> tuple[FloatArray, FloatArray]:
    """Scale and shape of each column, nan where it has none; a start of nan is none."""
    column = lives[:, None] if lives.ndim == 1 else lives
    longest = np.where(units > 0.0, column, 0.0).max(axis=0)
    earliest = np.where(failures > 0.0, column, np.inf).min(axis=0)
    # A failure below the longest life: the condition of `weibull_fit`, exactly.
    can = (earliest < longest) & (earliest > 0.0)
    scales, shapes = np.full(longest.size, np.nan), np.full(longest.size, np.nan)
    if not can.any():
        return scales, shapes
    chosen = np.flatnonzero(can)
    units, failures, longest = units[:, chosen], failures[:, chosen], longest[chosen]
    if lives.ndim == 1:
        log_lives = _shared_log_lives(lives, longest)
    else:
        log_lives = _log_shares(column[:, chosen], longest)
    failure_counts = failures.sum(axis=0)
    wanted = (failures * log_lives).sum(axis=0) / failure_counts
    if not column.all():  # A unit that has not started says nothing about the parameters.
        units = np.where(column[:, chosen if lives.ndim == 2 else slice(None)] > 0.0, units, 0.0)
    found, total = _solve(log_lives, units, wanted, start=start)
    log_ratio = np.log(total / failure_counts) / found
    fits = np.maximum(log_ratio, log_ratio + np.log(longest)) <= _LOG_LARGEST
    scales[chosen[fits]] = longest[fits] * np.exp(log_ratio[fits])
    shapes[chosen[fits]] = found[fits]
    return scales, shapes


def _shared_log_lives(lives: FloatArray, longest: FloatArray) -> FloatArray:
    """Log lives over each column's longest; the few different longest ones are done once."""
    distinct, which = np.unique(longest, return_inverse=True)
    table = _log_shares(lives[:, None], distinct)
    return np.ascontiguousarray(table[:, which])


def _log_shares(lives: FloatArray, longest: FloatArray) -> FloatArray:
    """``ln(life / longest)``, 0 for lives of 0 and for those of other rows, whose count is 0."""
    shares = log_shares(lives, longest)
    shares[~np.isfinite(shares) | (shares > 0.0)] = 0.0
    return shares


def _solve(
    log_lives: FloatArray, counts: FloatArray, wanted: FloatArray, *, start: float
) -> tuple[FloatArray, FloatArray]:
    """Root of each column's shape equation, and the sum of powers there."""
    shapes, totals = np.empty(wanted.size), np.empty(wanted.size)
    active = np.arange(wanted.size)
    low, high = -1.0 / wanted, np.full(wanted.size, np.inf)
    shape = np.maximum(low, start if np.isfinite(start) else _start(log_lives, counts))
    room = np.empty_like(log_lives)
    for _ in range(_MOST_STEPS):
        powers = room[:, : active.size]
        total, first, second = _power_sums(log_lives, counts, shape, powers)
        mean, inverse = first / total, 1.0 / shape
        score = mean - inverse - wanted
        slope = np.maximum(0.0, second / total - mean * mean) + inverse * inverse
        above = score > 0.0
        low, high = np.where(above, low, shape), np.where(above, shape, high)
        step = -score / (shape * slope)
        settled = np.abs(step) <= LAST_STEP
        stuck = ~settled & (high - low <= _NARROWEST * shape)
        done = settled | stuck
        if done.any():
            change = np.where(stuck, 0.0, shape * np.expm1(step))
            shapes[active[done]] = (shape + change)[done]
            totals[active[done]] = (total + change * (first + 0.5 * change * second))[done]
            keep = np.flatnonzero(~done)
            if keep.size == 0:
                return shapes, totals
            active, wanted, step = active[keep], wanted[keep], step[keep]
            low, high, shape = low[keep], high[keep], shape[keep]
            log_lives, counts = log_lives.take(keep, axis=1), counts.take(keep, axis=1)
        shape = _next_shape(shape, step, low, high)
    raise DidNotConvergeError("Weibull shape", f"{_MOST_STEPS} steps from the log lives' spread")


def _power_sums(
    log_lives: FloatArray, counts: FloatArray, shape: FloatArray, powers: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sums of ``t**b``, ``t**b ln t`` and ``t**b (ln t)**2`` of each column."""
    np.multiply(log_lives, shape, out=powers)
    np.exp(powers, out=powers)
    powers *= counts
    total = powers.sum(axis=0)
    powers *= log_lives
    first = powers.sum(axis=0)
    powers *= log_lives
    return total, first, powers.sum(axis=0)


def _start(log_lives: FloatArray, counts: FloatArray) -> FloatArray:
    """Shape that goes with the deviation of each column's log lives."""
    total = counts.sum(axis=0)
    weighted = counts * log_lives
    mean = weighted.sum(axis=0) / total
    weighted *= log_lives
    variance = weighted.sum(axis=0) / total - mean * mean
    shape: FloatArray = START_TIMES_DEVIATION / np.sqrt(np.maximum(variance, 1e-300))
    return shape


def _next_shape(
    shape: FloatArray, step: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Newton's proposal, or a point inside the bracket where it left it."""
    proposed: FloatArray = shape * np.exp(np.clip(step, -LONGEST_STEP, LONGEST_STEP))
    inside = (low < proposed) & (proposed < high)
    if inside.all():
        return proposed
    with np.errstate(invalid="ignore"):
        between = np.where(np.isinf(high), 2.0 * low, np.sqrt(low) * np.sqrt(high))
    return np.where(inside, proposed, between)
