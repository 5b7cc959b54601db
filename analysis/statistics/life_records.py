"""Lives of a lot in one form for every fit: two ends per life, equal ones folded together."""

import math

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from analysis.checks import FloatArray, check_counts, check_flags, check_lives
from analysis.errors import OutsideDomainError


class LifeRecords(Struct, frozen=True, kw_only=True):
    """
    What is known of each life, as two ends in cycles and how many units share them.

    ``low == high``: failed at exactly that count. ``high == inf``: had not failed at
    `low`. ``low == 0``: found failed by `high`, never seen whole after the start.
    Otherwise: failed between `low` (seen whole) and `high` (seen failed). Arrays of one
    length, sorted by both ends, no pair of ends twice. Build it with `life_records` or
    `lives_with_run_outs`, which check and fold.
    """

    low_cycles: FloatArray
    high_cycles: FloatArray
    counts: FloatArray

    @property
    def unit_count(self) -> int:
        """Units in all."""
        return int(self.counts.sum())

    @property
    def failure_count(self) -> int:
        """Units that failed, at a known count or within a bracket."""
        return int(self.counts[np.isfinite(self.high_cycles)].sum())

    @property
    def has_brackets(self) -> bool:
        """Whether some failure is known only between two counts."""
        return bool((np.isfinite(self.high_cycles) & (self.low_cycles < self.high_cycles)).any())


def life_records(
    low_cycles: ArrayLike, high_cycles: ArrayLike, *, counts: ArrayLike | None = None
) -> LifeRecords:
    """
    Collect lives given by their two ends.

    Parameters
    ----------
    low_cycles : array_like of float, shape (n,), finite, >= 0
        Count at which each unit was last known not to have failed. Cycles.
    high_cycles : array_like of float, shape (n,), > 0 or inf, at least `low_cycles`
        Count at which it was known to have failed; inf for a unit that did not; equal
        to the low end for a failure seen at its very cycle. Cycles.
    counts : array_like of int, shape (n,), >= 1, optional, keyword only
        Units that share each pair of ends; one each when left out.

    Returns
    -------
    LifeRecords
        Equal pairs folded into one. A unit stopped before its first cycle, low 0 and
        high inf, says nothing and is left out.

    Raises
    ------
    OutsideDomainError
        If lengths differ, an end is out of its range, the ends of a life are in the
        wrong order, or a failure is given at 0 cycles exactly.

    Examples
    --------
    Two units stopped whole, one that failed, one found failed at an inspection:

    >>> records = life_records(
    ...     [60_000, 60_000, 41_000, 30_000], [float("inf"), float("inf"), 41_000, 50_000]
    ... )
    >>> records.unit_count, records.failure_count, len(records.counts)
    (4, 2, 3)
    """
    low = check_lives("low_cycles", low_cycles)
    high = _check_high(high_cycles, low)
    weights = np.ones(low.size)
    if counts is not None:
        weights = check_counts("counts", counts, length=low.size)
    informative = ~((low == 0.0) & np.isinf(high))
    return _fold(low[informative], high[informative], weights[informative])


def lives_with_run_outs(
    life_cycles: ArrayLike, failed: ArrayLike, *, counts: ArrayLike | None = None
) -> LifeRecords:
    """
    Collect lives that ended in a failure at a known count or without one.

    Parameters
    ----------
    life_cycles : array_like of float, shape (n,), finite, >= 0; > 0 for a failure
        Counted cycles until the unit failed or stopped. Cycles.
    failed : array_like of bool, shape (n,)
        True where the life ended in a relevant failure.
    counts : array_like of int, shape (n,), >= 1, optional, keyword only
        Units that share each life and ending; one each when left out.

    Returns
    -------
    LifeRecords

    Raises
    ------
    OutsideDomainError
        As `life_records`.

    Examples
    --------
    >>> lives_with_run_outs([41_000, 60_000, 60_000], [True, False, False]).counts
    array([1., 2.])
    """
    lives = check_lives("life_cycles", life_cycles)
    failures = check_flags("failed", failed, length=lives.size)
    return life_records(lives, np.where(failures, lives, math.inf), counts=counts)


def _check_high(values: ArrayLike, low: FloatArray) -> FloatArray:
    """Upper ends: as many as lower ones, above 0, never below their lower end, inf allowed."""
    allowed = "a list of numbers, one per life, inf for a unit that did not fail"
    try:
        high = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise OutsideDomainError("high_cycles", "values of different kinds", allowed) from None
    if high.shape != low.shape:
        raise OutsideDomainError("high_cycles", f"{high.size} values for {low.size} lives", allowed)
    wrong = ~((high > 0.0) & (high >= low))
    if wrong.any():
        index = int(wrong.argmax())
        raise OutsideDomainError(
            f"high_cycles[{index}]", float(high[index]), "above 0 and not below its low end"
        )
    return high


def _fold(low: FloatArray, high: FloatArray, weights: FloatArray) -> LifeRecords:
    """Sort by both ends and add up the counts of equal pairs."""
    order = np.lexsort((high, low))
    low, high, weights = low[order], high[order], weights[order]
    if low.size == 0:
        return LifeRecords(low_cycles=low, high_cycles=high, counts=weights)
    is_new = np.ones(low.size, dtype=np.bool_)
    is_new[1:] = (low[1:] != low[:-1]) | (high[1:] != high[:-1])
    starts = np.flatnonzero(is_new)
    return LifeRecords(
        low_cycles=low[starts],
        high_cycles=high[starts],
        counts=np.add.reduceat(weights, starts),
    )
