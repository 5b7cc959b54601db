"""Tables of reliabilities shown by counted failures, each cell the exact limit of one test."""

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analysis.checks import BoolArray, FloatArray
from analysis.statistics.success_table import MOST_TERMS, sum_of_terms
from analysis.statistics.table_arguments import (
    counts_of_table,
    fractions_of_table,
    planes_of_table,
    shape_of_table,
)

_MOST_NEWTON_STEPS = 6
_NEWTON_STEP = 1e-8  # Newton doubles the digits: after a step this small 15 of them hold.
_LEAST_SLOPE = 1e-2  # Below it the chance of passing hardly tells one reliability from another.


def reliability_lower_table(
    unit_count: ArrayLike, failure_count: ArrayLike, *, confidence: ArrayLike
) -> FloatArray:
    """
    Reliability that a lot exceeds with the stated confidence, for every cell of a table.

    Parameters
    ----------
    unit_count : array_like of int, >= 1
        Units run to the target once, those that failed included.
    failure_count : array_like of int, >= 0
        Units that failed before the target; a cell with more failures than units is nan.
    confidence : array_like of float, 0 < confidence < 1, keyword only
        One-sided confidence of the limit. No unit.

    Returns
    -------
    ndarray of float
        Lower limits of the reliability at the target, in the shape to which the arguments
        broadcast; 0 where every unit failed.

    Raises
    ------
    OutsideDomainError
        If an argument holds a value outside its range, or they do not broadcast.

    Notes
    -----
    The quantile 1 - C of Beta(n - r, r + 1), as in `reliability_lower`, by Newton's method
    on the explicit sum where few failed and by the inverse incomplete beta function else.

    Examples
    --------
    >>> reliability_lower_table([[22], [45]], [0, 1], confidence=0.90).round(4)
    array([[0.9006, 0.8344],
           [0.9501, 0.9163]])

    Twenty-two units show 90 % with none failed and 83.4 % with one failed.
    """
    units = counts_of_table("unit_count", unit_count, least=1)
    failures = counts_of_table("failure_count", failure_count, least=0)
    sure = fractions_of_table("confidence", confidence)
    asked_shape = shape_of_table(units, failures, sure)
    shape = asked_shape or (1,)
    mean = special.gammaincinv(failures + 1.0, sure)
    given = [np.broadcast_to(each, shape) for each in (units.astype(np.float64), sure, mean)]
    lower = np.empty(shape)
    with np.errstate(all="ignore"):
        for failed, plane in planes_of_table(failures, shape):
            lower[plane] = _lower(failed, *(values[plane].copy() for values in given))
    return lower.reshape(asked_shape)


def _lower(
    failures: int, units: FloatArray, confidence: FloatArray, mean: FloatArray
) -> FloatArray:
    """Lower limits of the reliability for cells with one number of failures."""
    survivors = units - failures
    if failures == 0:
        return np.exp(np.log1p(-confidence) / units)
    lower = np.full(units.shape, np.nan)
    settled = survivors <= 0.0
    lower[survivors == 0.0] = 0.0
    if failures <= MOST_TERMS:
        odds, close = _odds_by_sum(failures, units, np.log1p(-confidence), mean)
        np.copyto(lower, 1.0 / (1.0 + odds), where=close & ~settled)
        settled |= close
    left = np.nonzero(~settled)
    lower[left] = special.betainccinv(survivors[left], failures + 1.0, confidence[left])
    return lower


def _odds_by_sum(
    failures: int, units: FloatArray, log_limit: FloatArray, mean: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Odds of failing at which so few fail with chance 1 - C, and where they were found."""
    odds = mean / (units - 0.5 * (failures + mean))
    step = slope = np.ones(1)
    for _ in range(_MOST_NEWTON_STEPS):
        total, last = sum_of_terms(units, failures, odds)
        # The chance falls by that of exactly `failures` where one of the others fails too.
        slope = (units - failures) * last / total
        slope *= odds / (1.0 + odds)
        step = (np.log(total) - units * np.log1p(odds) - log_limit) / slope
        odds = odds * np.exp(step)
        step = np.abs(step)
        if step.max() < _NEWTON_STEP:
            break
    return odds, (step < _NEWTON_STEP) & (slope > _LEAST_SLOPE)
