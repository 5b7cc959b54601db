"""The sum of target lives at its worst and best over a range of Weibull shapes."""

import numpy as np
from numpy.typing import ArrayLike

from analysis.checks import FloatArray, check_lives, check_positive
from analysis.errors import DidNotConvergeError, OutsideDomainError
from analysis.statistics.weibayes import target_lives
from schemas.estimates import ShapeExtreme

_NEWTON_STEP = 3e-8  # Newton doubles the digits: after a step this small 15 of them hold.
_NARROWEST = 1e-15  # No number lies between two that are closer than this.
_MOST_STEPS = 200  # Bisection alone needs about 60 from any range of shapes.


def least_target_lives(
    life_cycles: ArrayLike, target_cycles: float, *, shape_low: float, shape_high: float
) -> ShapeExtreme:
    """
    Worst case of the sum of target lives over a range of Weibull shapes.

    Parameters
    ----------
    life_cycles, target_cycles
        As in `target_lives`.
    shape_low, shape_high : float, finite, 0 < shape_low <= shape_high, keyword only
        Range in which earlier evidence puts the Weibull shape (beta).

    Returns
    -------
    ShapeExtreme
        The least sum and the shape at which it occurs (`shape_low` if all are equal).

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range or the sum is too large for a number.

    Notes
    -----
    Units beyond the target make the sum grow with the shape, units short of it make it
    fall. The sum is convex in the shape, so its minimum may lie inside the range;
    looking at the two ends only would overstate the demonstration.

    Examples
    --------
    >>> worst = least_target_lives(
    ...     [60_000] * 10 + [150_000] * 3, 100_000, shape_low=1.0, shape_high=3.0
    ... )
    >>> round(worst.shape, 3), round(worst.target_lives, 3)
    (1.566, 10.154)
    >>> round(target_lives([60_000] * 10 + [150_000] * 3, 100_000, shape=3.0), 3)
    12.285

    The range 1 to 3 is worth 10.15 target lives here, less than at either end.
    """
    lives = check_lives("life_cycles", life_cycles)
    target = check_positive("target_cycles", target_cycles)
    _check_shape_range(shape_low, shape_high)
    # A unit that has not started adds nothing at any shape.
    ratios = lives / target
    shape = _least_shape(np.log(ratios[ratios > 0.0]), shape_low, shape_high)
    return ShapeExtreme(shape=shape, target_lives=target_lives(lives, target, shape=shape))


def largest_target_lives(
    life_cycles: ArrayLike, target_cycles: float, *, shape_low: float, shape_high: float
) -> ShapeExtreme:
    """
    Best case of the sum of target lives over a range of Weibull shapes.

    It stands behind an *upper* limit of the reliability, where caution turns round.
    The sum is convex in the shape, so the best case is an end of the range.

    Parameters, returned struct and errors are those of `least_target_lives`.

    Examples
    --------
    >>> largest_target_lives([150_000] * 4, 100_000, shape_low=1.0, shape_high=3.0)
    ShapeExtreme(shape=3.0, target_lives=13.5)
    """
    _check_shape_range(shape_low, shape_high)
    at_low = target_lives(life_cycles, target_cycles, shape=shape_low)
    at_high = target_lives(life_cycles, target_cycles, shape=shape_high)
    if at_high > at_low:
        return ShapeExtreme(shape=shape_high, target_lives=at_high)
    return ShapeExtreme(shape=shape_low, target_lives=at_low)


def _check_shape_range(shape_low: float, shape_high: float) -> None:
    check_positive("shape_low", shape_low)
    check_positive("shape_high", shape_high)
    if shape_low > shape_high:
        raise OutsideDomainError("shape_high", shape_high, f"shape_low ({shape_low!r}) or more")


def _least_shape(log_ratios: FloatArray, shape_low: float, shape_high: float) -> float:
    """Shape of the range at which the sum of ``exp(shape * log_ratios)`` is least."""
    if log_ratios.size == 0 or _newton_step(log_ratios, shape_low) <= 0.0:
        return shape_low
    if _newton_step(log_ratios, shape_high) >= 0.0:
        return shape_high
    low, high = shape_low, shape_high
    shape = 0.5 * (low + high)
    for _ in range(_MOST_STEPS):
        step = _newton_step(log_ratios, shape)
        low, high = (shape, high) if step > 0.0 else (low, shape)
        if abs(step) <= _NEWTON_STEP * shape or high - low <= _NARROWEST * shape:
            return min(max(shape + step, shape_low), shape_high)
        proposed = shape + step
        shape = proposed if low < proposed < high else 0.5 * (low + high)
    raise DidNotConvergeError("shape of least target lives", f"{_MOST_STEPS} Newton steps")


def _newton_step(log_ratios: FloatArray, shape: float) -> float:
    """Newton step of the sum's derivative; its sign says where the minimum lies."""
    # Divided by the largest term: the ratio is unchanged and nothing overflows.
    with np.errstate(under="ignore"):
        terms = log_ratios * np.exp(shape * (log_ratios - log_ratios.max()))
        slope, curvature = float(terms.sum()), float(terms @ log_ratios)
    if curvature == 0.0:  # every unit ran the target exactly: no shape is worse than another
        return 0.0
    return -slope / curvature
