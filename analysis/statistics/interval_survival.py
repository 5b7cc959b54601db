"""Survival of greatest likelihood from lives known only between two counts (Turnbull)."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.checks import FloatArray
from analysis.errors import DidNotConvergeError, OutsideDomainError
from analysis.statistics.life_records import LifeRecords
from schemas.survival import IntervalSurvival, MassInterval

_MOST_INTERVALS = 3_000  # The climb solves a full system of this size at each step.
_MOST_STEPS = 200  # 10 to 30 are usual.
_EXCESS = 1e-12  # Largest loss of log-likelihood accepted, per unit.
_TO_THE_EDGE = 0.99  # Share of the way to the nearest edge that a step may go.
_NO_MASS = 1e-9  # A mass below this whose price is above it is 0 at the maximum.

IntArray = NDArray[np.int64]


class _Cover(NamedTuple):
    """Intervals that can hold mass, and which of them each life may have failed in."""

    low: FloatArray
    high: FloatArray
    first: IntArray
    last: IntArray
    counts: FloatArray


class _Masses(NamedTuple):
    """Masses, the price of adding to each (0 where it pays), and the steps it took."""

    masses: FloatArray
    prices: FloatArray
    iteration_count: int


def interval_survival(records: LifeRecords) -> IntervalSurvival:
    """
    Fraction that survives each count, from lives some of which are brackets.

    Parameters
    ----------
    records : LifeRecords
        Lives of the lot. A bracket is open at its low end, where the unit was seen whole,
        and closed at its high end, where it was seen failed.

    Returns
    -------
    IntervalSurvival
        The stretches of cycles that hold probability, each with its mass. No failure is
        an answer too: all mass lies after the longest life. Where no life is a bracket
        the curve is that of `kaplan_meier`. Without limits: none are known that hold for
        such lives in small lots.

    Raises
    ------
    OutsideDomainError
        If more than 3 000 stretches could hold mass.
    DidNotConvergeError
        If the climb does not reach its own test; no lives are known for which it does not.

    Notes
    -----
    Mass can lie only in the innermost intervals: those between a low end and the next end
    if that is a high one (B. W. Turnbull 1976, from memory). Masses p maximise
    ``sum(c ln P)``, P of a life the sum of the masses it may have failed in. With
    ``g_j = sum(c / P)`` over the lives that may have failed in interval j and N units, the
    maximum is where ``g_j <= N``, equal where p_j is above 0 (the Kuhn-Tucker conditions);
    whatever the masses, the loss of log-likelihood is at most ``N (max(g) / N - 1)``,
    which is reported as `excess`. Reached by Newton steps on ``p_j (N - g_j) = m`` with m
    shrinking to 0, an interior-point climb, which unlike the expectation-maximisation of
    the original does not slow down where masses vanish. The masses are the only ones: the
    probabilities P are (a sum of logarithms is strictly concave), and as some life begins
    and some ends at every innermost interval, they fix every sum of masses (derived here).

    Examples
    --------
    Six units inspected every 10 000 cycles; two found failed, four whole at the end:

    >>> from analysis.statistics.life_records import life_records
    >>> whole = float("inf")
    >>> lives = life_records(
    ...     [20_000, 40_000, 60_000, 60_000, 60_000, 60_000],
    ...     [30_000, 50_000, whole, whole, whole, whole],
    ... )
    >>> curve = interval_survival(lives)
    >>> [(i.low_cycles, i.high_cycles, round(i.mass, 4)) for i in curve.intervals]
    [(20000.0, 30000.0, 0.1667), (40000.0, 50000.0, 0.1667), (60000.0, None, 0.6667)]
    >>> round(curve.survival_at(35_000), 4)
    0.8333
    >>> curve.survival_at(45_000)
    NotEstimable(reason='WITHIN_MASS_INTERVAL')
    """
    cover = _cover(records)
    if cover.low.size > _MOST_INTERVALS:
        raise OutsideDomainError(
            "records", f"{cover.low.size} intervals", f"lives with at most {_MOST_INTERVALS}"
        )
    found = _climb(cover)
    positive = found.masses > 0.0
    probabilities = _probabilities(cover, found.masses)
    return IntervalSurvival(
        intervals=tuple(
            MassInterval(low_cycles=low, high_cycles=None if math.isinf(high) else high, mass=mass)
            for low, high, mass in zip(
                cover.low[positive].tolist(),
                cover.high[positive].tolist(),
                found.masses[positive].tolist(),
                strict=True,
            )
        ),
        longest_cycles=_longest(records),
        unit_count=records.unit_count,
        failure_count=records.failure_count,
        log_likelihood=float(cover.counts @ np.log(probabilities)) + 0.0,
        excess=max(0.0, -float(found.prices.min(initial=0.0))),
        iteration_count=found.iteration_count,
    )


def _longest(records: LifeRecords) -> float:
    """Largest finite end of any life, 0 without lives."""
    ends = np.concatenate((records.low_cycles, records.high_cycles))
    return float(ends[np.isfinite(ends)].max(initial=0.0))


def _cover(records: LifeRecords) -> _Cover:
    """Innermost intervals, and for each life the first and last it contains."""
    low, high = records.low_cycles, records.high_cycles
    # Every end becomes a place in order: twice its rank among the counts, plus 1 for an
    # open low end, which lies just after its count.
    values = np.unique(np.concatenate((low, high)))
    is_open = low < high
    lefts = 2 * np.searchsorted(values, low) + is_open
    rights = 2 * np.searchsorted(values, high)
    places = np.concatenate((lefts, rights))
    is_right = np.repeat([False, True], low.size)
    order = np.lexsort((is_right, places))  # a low end stands before a high end at one place
    sorted_places, sorted_right = places[order], is_right[order]
    starts = np.flatnonzero(~sorted_right[:-1] & sorted_right[1:])
    inner_left = sorted_places[starts].astype(np.int64)
    inner_right = sorted_places[starts + 1].astype(np.int64)
    return _Cover(
        low=values[inner_left // 2],
        high=values[inner_right // 2],
        first=np.searchsorted(inner_left, lefts, side="left").astype(np.int64),
        last=np.searchsorted(inner_right, rights, side="right").astype(np.int64) - 1,
        counts=records.counts,
    )


def _probabilities(cover: _Cover, masses: FloatArray) -> FloatArray:
    """Probability of what is known of each life."""
    below = np.concatenate(([0.0], np.cumsum(masses)))
    above = np.concatenate((np.cumsum(masses[::-1])[::-1], [0.0]))
    # The smaller of the two sums loses fewer digits in the difference.
    upwards = below[cover.last + 1] - below[cover.first]
    downwards = above[cover.first] - above[cover.last + 1]
    return np.where(below[cover.last + 1] < above[cover.first], upwards, downwards)


def _gains(cover: _Cover, probabilities: FloatArray) -> FloatArray:
    """Gain in log-likelihood per mass added to each interval."""
    weights = cover.counts / probabilities
    steps = np.zeros(cover.low.size + 1)
    np.add.at(steps, cover.first, weights)
    np.add.at(steps, cover.last + 1, -weights)
    return np.cumsum(steps[:-1])


def _curvature(cover: _Cover, probabilities: FloatArray) -> FloatArray:
    """Minus the second derivatives: lives that may have failed in both intervals."""
    size = cover.low.size
    table = np.zeros((size, size))
    np.add.at(table, (cover.first, cover.last), cover.counts / probabilities**2)
    table = np.cumsum(table, axis=0)
    table = np.cumsum(table[:, ::-1], axis=1)[:, ::-1]
    # Entry (j, k) with j <= k: lives that begin at j or before and end at k or after.
    upper = np.triu(table)
    curvature: FloatArray = upper + np.triu(table, 1).T
    return curvature


def _climb(cover: _Cover) -> _Masses:
    """Masses at the maximum by an interior-point climb, then those of no mass set to 0."""
    size, total = cover.low.size, float(cover.counts.sum())
    masses = np.full(size, 1.0 / size) if size else np.zeros(0)
    prices = np.full(size, total)
    for iteration in range(_MOST_STEPS):
        probabilities = _probabilities(cover, masses)
        residual = total - _gains(cover, probabilities)
        cleaned = _cleaned(cover, masses, residual)
        if cleaned is not None:
            return _Masses(*cleaned, iteration)
        # Newton on (curvature) step - price step = -(residual - prices), p * price = target.
        target = 0.1 * float(masses @ prices) / size
        matrix = _curvature(cover, probabilities)
        matrix[np.diag_indices(size)] += prices / masses
        step = np.asarray(np.linalg.solve(matrix, target / masses - residual), dtype=np.float64)
        price_step = target / masses - prices - prices * step / masses
        masses = masses + _share(masses, step) * step
        prices = prices + _share(prices, price_step) * price_step
    raise DidNotConvergeError("masses of survival", f"{_MOST_STEPS} interior-point steps")


def _share(values: FloatArray, step: FloatArray) -> float:
    """Largest share of a step, up to 1, that keeps every value above 0."""
    falling = step < 0.0
    if not falling.any():
        return 1.0
    return min(1.0, _TO_THE_EDGE * float((-values[falling] / step[falling]).min()))


def _cleaned(
    cover: _Cover, masses: FloatArray, residual: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Masses with the vanishing ones at 0, and their prices, if they pass the final test."""
    total = float(cover.counts.sum())
    kept = np.where((masses < _NO_MASS) & (residual > _NO_MASS * total), 0.0, masses)
    kept = kept / kept.sum() if kept.size else kept
    probabilities = _probabilities(cover, kept)
    if not (probabilities > 0.0).all():
        return None
    prices = total - _gains(cover, probabilities)
    within = float(prices.min(initial=0.0)) >= -_EXCESS * total
    return (kept, prices) if within else None
