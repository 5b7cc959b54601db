"""One Weibull shape for several lots, each with its own scale: the likelihood along that shape.

In ``a = location / spread`` and ``b = 1 / spread`` (the shape) the log-likelihood of every lot
is concave, so what is left after each lot's `a` has been chosen best is concave in b alone.
"""

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from scipy import optimize, special

from analysis.errors import DidNotConvergeError
from analysis.statistics.log_likelihood import Derivatives, SortedLives, derivatives

_NEWTON_STEP = 3e-8  # Newton doubles the digits: after a step this small 15 of them hold.
_LONGEST_STEP = 2.0  # in ln(shape) or in a
_NARROWEST = 1e-15  # No number lies between two that are closer than this.
_MOST_STEPS = 200
_FARTHEST = 14.0  # in ln(shape): a limit a million times away from the estimate is none.
_FLATTEST = 1e-4  # A shape at which every count has practically the same chance of failure.
_LIMIT_DIGITS = 1e-12


class ShapeProfile(NamedTuple):
    """
    Log-likelihood at one shape with the best scale per lot.

    `slope` and `bend` are the first and second derivative by the shape. `places` are the
    lots' ``a = location / spread`` (locations from each lot's center), `turns` how fast
    each a moves with the shape, and `weights` the information on each location (failures
    times the shape squared where no life is bracketed).
    """

    value: float
    slope: float
    bend: float
    places: tuple[float, ...]
    weights: tuple[float, ...]
    turns: tuple[float, ...]


def shape_profile(lots: Sequence[SortedLives], shape: float) -> ShapeProfile:
    """
    Log-likelihood of lots at a common shape, each with the scale that suits it best.

    Every lot must hold a failure and a unit that was once seen whole; counts need not be
    whole numbers. Values keep every constant, so they compare with `log_likelihood`.

    Notes
    -----
    Without brackets the best scale is ``(sum(t**b) / r)**(1 / b)`` [1]_; otherwise it is
    found by Newton's method in a.

    References
    ----------
    .. [1] J. F. Lawless, "Statistical Models and Methods for Lifetime Data", 2nd
           edition, 2003, chapter 5. (Equation from memory; checked in the tests.)
    """
    places, parts = [], []
    for lives in lots:
        place = best_place(lives, shape)
        places.append(place)
        parts.append(derivatives(lives, place, shape))
    return ShapeProfile(
        value=math.fsum(part.value for part in parts),
        slope=math.fsum(part.by_b for part in parts),
        bend=math.fsum(part.by_bb - part.by_ab * part.by_ab / part.by_aa for part in parts),
        places=tuple(places),
        weights=tuple(-part.by_aa * shape * shape for part in parts),
        turns=tuple(-part.by_ab / part.by_aa for part in parts),
    )


def best_place(lives: SortedLives, shape: float) -> float:
    """The a = location / spread of greatest likelihood at a given shape."""
    ends = [lives.exact, lives.unbroken]
    counts = [lives.exact_counts, lives.unbroken_counts]
    if not lives.failed_by.size and not lives.bracket_low.size:
        powers = np.exp(shape * np.concatenate(ends))
        total = float(np.concatenate(counts) @ powers)
        return math.log(total / lives.failure_count)
    # The low ends: a high end may lie far beyond every life and would start far off.
    ends += [lives.failed_by, lives.bracket_low]
    counts += [lives.failed_by_counts, lives.bracket_counts]
    powers = np.exp(shape * np.concatenate(ends))
    start = math.log(float(np.concatenate(counts) @ powers) / lives.failure_count)
    return _climb(lives, shape, start)


def _climb(lives: SortedLives, shape: float, start: float) -> float:
    """Newton's method in a inside a bracket; the likelihood is concave in a."""
    a, low, high = start, -math.inf, math.inf
    for _ in range(_MOST_STEPS):
        here = derivatives(lives, a, shape)
        if here.by_a > 0.0:
            low = a
        else:
            high = a
        step = _newton(here)
        if abs(step) <= 1e-9 * (1.0 + abs(a)) or high - low <= _NARROWEST * (1.0 + abs(a)):
            return a + step
        proposed = a + min(max(step, -_LONGEST_STEP), _LONGEST_STEP)
        a = proposed if low < proposed < high else 0.5 * (low + high)
    raise DidNotConvergeError("scale at a given shape", f"{_MOST_STEPS} steps of Newton's method")


def _newton(here: Derivatives) -> float:
    """Newton's step in a; a long one up the slope where the curve has no bend left."""
    if here.by_aa < 0.0:
        return -here.by_a / here.by_aa
    return math.copysign(_LONGEST_STEP, here.by_a) if here.by_a else 0.0


def best_common_shape(
    lots: Sequence[SortedLives], *, start: float, lean: float = 0.0
) -> tuple[float, ShapeProfile]:
    """
    Common shape of greatest likelihood, and the likelihood there.

    `start` is where the search begins, above 0; `lean` times the logarithm of the shape
    is taken off the log-likelihood (see `free_scale_lean`). A maximum must exist: without
    a lean it does when each lot has one of its own.

    Raises
    ------
    DidNotConvergeError
        If the search does not end, as where no maximum exists.
    """
    shape, low, high = start, 0.0, math.inf
    for _ in range(_MOST_STEPS):
        here = shape_profile(lots, shape)
        slope = here.slope - lean / shape
        bend = here.bend + lean / (shape * shape)
        if slope > 0.0:
            low = shape
        else:
            high = shape
        # Newton in ln(shape); where the curve bends up, a step as long as allowed.
        step = -slope / (shape * bend) if bend < 0.0 else math.copysign(_LONGEST_STEP, slope)
        if abs(step) <= _NEWTON_STEP or high - low <= _NARROWEST * shape:
            shape *= math.exp(step)
            return shape, shape_profile(lots, shape)
        proposed = shape * math.exp(min(max(step, -_LONGEST_STEP), _LONGEST_STEP))
        if not low < proposed < high:
            proposed = 2.0 * low if math.isinf(high) else 0.5 * (low + high)
        shape = proposed
    raise DidNotConvergeError("common shape", f"{_MOST_STEPS} steps of Newton's method")


def corrected_peak(lots: Sequence[SortedLives], lean: float) -> tuple[float, float] | None:
    """
    Shape where ``log-likelihood - lean * ln(shape)`` is largest, and that value.

    None where it has no largest value because it does not fall towards shape 0. The
    search does not notice one that rises without end; see `best_common_shape`.
    """
    if _FLATTEST * shape_profile(lots, _FLATTEST).slope <= lean:
        return None
    shape, profile = best_common_shape(lots, start=1.0, lean=lean)
    return shape, profile.value - lean * math.log(shape)


def free_scale_lean(failed_share: float) -> float:
    """
    How many logarithms of the shape one lot's free scale adds to the likelihood in excess.

    Parameters
    ----------
    failed_share : float, 0 to 1
        Units of the lot that failed, over all its units.

    Returns
    -------
    float
        1 where every unit failed, near a quarter of the share where few did.

    Notes
    -----
    With the best scale put in, the slope of the log-likelihood at the true shape b is not
    0 on average: it is ``lean / b`` too high. For units that all stop at one count it is,
    to first order in 1 / n, the covariance of ``S - r`` and ``T / S`` with
    ``S = sum(w)``, ``T = sum(w ln w)``, w the cumulative hazard a unit lived through (at
    most L, where ``exp(-L)`` survive):

    ``(B - A E[w ln w] / E[w]) / E[w]``, where A and B are the integrals from 0 to L of
    ``s exp(-s)`` and ``(1 + ln s) s exp(-s)``.

    Derived here; the lean of complete lives is exact, the others are simulated in the
    tests. Units stopped at unequal counts are taken as if they had stopped at one.

    Examples
    --------
    >>> [round(free_scale_lean(share), 3) for share in (0.1, 0.5, 0.9, 1.0)]
    [0.027, 0.183, 0.59, 1.0]
    """
    if failed_share >= 1.0:
        return 1.0
    stop = -math.log1p(-failed_share)
    if stop < 1e-3:
        return 0.25 * stop  # The leading term; the rest would drown in rounding.
    alive = math.exp(-stop)
    entire = float(special.exp1(stop)) + math.log(stop) + np.euler_gamma
    log_part = math.log(stop) * (1.0 - alive) - entire  # integral of ln s exp(-s)
    mean_hazard = 1.0 - alive
    mean_log_term = mean_hazard + log_part
    first = 1.0 - (1.0 + stop) * alive
    second = first - stop * math.log(stop) * alive + log_part + mean_hazard
    return float((second - first * mean_log_term / mean_hazard) / mean_hazard)


def likelihood_drop(confidence: float) -> float:
    """
    Fall of the log-likelihood at a limit that holds, alone, with `confidence`.

    Half the chi-square quantile of one degree of freedom at ``2 * confidence - 1``.

    Examples
    --------
    >>> round(likelihood_drop(0.95), 4)  # 2.7055 / 2
    1.3528
    """
    quantile = float(special.ndtri(confidence))
    return 0.5 * quantile * quantile


def shape_limit(
    value_at: Callable[[float], float], *, peak_shape: float, least_value: float, upward: bool
) -> float | None:
    """
    Shape on one side of the peak at which the log-likelihood has fallen to `least_value`.

    None where it never falls that far: the data set no limit on this side.
    """

    def excess(log_shape: float) -> float:
        return value_at(math.exp(log_shape)) - least_value

    near, step = math.log(peak_shape), 0.25 if upward else -0.25
    limit = near + math.copysign(_FARTHEST, step)
    while abs(limit - near) > 1e-9:
        far = near + step
        if abs(far - math.log(peak_shape)) > _FARTHEST:
            return None
        if excess(far) <= 0.0:
            root = optimize.brentq(excess, near, far, xtol=_LIMIT_DIGITS, rtol=_LIMIT_DIGITS)
            return math.exp(float(root))
        near, step = far, 2.0 * step
    return None
