"""Two-parameter Weibull of greatest likelihood from failures and units that did not fail."""

import math

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from analysis.checks import BoolArray, FloatArray, check_counts, check_flags, check_lives
from analysis.errors import DidNotConvergeError
from schemas.estimates import NotEstimable, WeibullFit

_NEWTON_STEP = 3e-8  # Newton doubles the digits: after a step this small 15 of them hold.
_LONGEST_STEP = 2.0  # in ln(shape): a factor of 7.4 per step
_NARROWEST = 1e-15  # No number lies between two that are closer than this.
_MOST_STEPS = 200  # Bisection alone needs fewer; most fits take 4 to 7 steps.
_LOG_LARGEST = 709.0  # e**709 is close to the largest number a double holds.


class _ScaledLives(Struct, frozen=True):
    """Logarithms of lives over the longest one, and what the failures among them add up to."""

    log_lives: FloatArray
    counts: FloatArray
    longest_cycles: float
    failure_count: int
    mean_log_failure: float


def weibull_fit(
    life_cycles: ArrayLike, failed: ArrayLike, *, counts: ArrayLike | None = None
) -> WeibullFit | NotEstimable:
    """
    Weibull scale and shape that make the observed lives most likely.

    Parameters
    ----------
    life_cycles : array_like of float, shape (n,), n >= 0, finite, >= 0
        Counted cycles each unit completed until it failed or stopped. Cycles.
    failed : array_like of bool, shape (n,)
        True where the life ended in a relevant failure, False for a run-out, a
        suspension or a unit still running. Order as in `life_cycles`.
    counts : array_like of int, shape (n,), >= 1, optional, keyword only
        Units that share each life and ending; one each when left out. Folding the
        run-outs at one count into a single entry makes the fit faster.

    Returns
    -------
    WeibullFit or NotEstimable
        The point estimates, without bounds; or the reason why the data have none:
        ``NO_FAILURES``, ``FAILURES_ONLY_AT_LONGEST_LIFE``, ``FAILURE_AT_ZERO_CYCLES``,
        ``SCALE_NOT_REPRESENTABLE``.

    Raises
    ------
    OutsideDomainError
        If a life is negative or not finite, `failed` or `counts` do not match it in
        length, or hold anything but True and False, or whole numbers of 1 or more.
    DidNotConvergeError
        If the search for the shape does not end; no data are known for which it does not.

    Notes
    -----
    Given the shape b, the scale is ``(sum(t**b) / r)**(1 / b)`` over all units, r of
    them failed. The shape solves ``sum(t**b ln t) / sum(t**b) - 1/b = mean ln t of the
    failures``, whose left side grows with b: one root, found by Newton steps in ln b
    inside a bracket, so that no start value can lead astray [1]_. A finite estimate
    exists exactly when some failure lies below the longest life of any unit; that is
    tested first. Bracketed (inspection) lives are not accepted here.

    References
    ----------
    .. [1] J. F. Lawless, "Statistical Models and Methods for Lifetime Data", 2nd
           edition, 2003, chapter 5. (Equation from memory; checked against an
           independent maximisation in the tests.)

    Examples
    --------
    Two failures, and ten units stopped unbroken at 60 000 cycles:

    >>> fit = weibull_fit([41_000, 52_000, 60_000], [True, True, False], counts=[1, 1, 10])
    >>> round(fit.scale_cycles), round(fit.shape, 2)
    (90938, 4.05)
    >>> weibull_fit([60_000] * 12, [False] * 12)
    NotEstimable(reason='NO_FAILURES')

    The first lot gives an estimate, though a vague one; the second lot is too good for one.
    """
    lives = check_lives("life_cycles", life_cycles)
    failures = check_flags("failed", failed, length=lives.size)
    weights = np.ones(lives.size)
    if counts is not None:
        weights = check_counts("counts", counts, length=lives.size)
    reason = _why_not_estimable(lives, failures)
    if reason is not None:
        return NotEstimable(reason=reason)
    scaled = _scale(lives, failures, weights)
    shape, iteration_count = _solve_shape(scaled)
    total = float(scaled.counts @ np.exp(shape * scaled.log_lives))
    log_scale_ratio = math.log(total / scaled.failure_count) / shape
    log_scale = log_scale_ratio + math.log(scaled.longest_cycles)
    if max(log_scale, log_scale_ratio) > _LOG_LARGEST:
        return NotEstimable(reason="SCALE_NOT_REPRESENTABLE")
    # (t / scale)**shape adds up to the number of failures at the greatest likelihood.
    per_failure = (
        math.log(shape)
        + (shape - 1.0) * scaled.mean_log_failure
        - math.log(total / scaled.failure_count)
        - math.log(scaled.longest_cycles)
        - 1.0
    )
    return WeibullFit(
        scale_cycles=scaled.longest_cycles * math.exp(log_scale_ratio),
        shape=shape,
        log_likelihood=scaled.failure_count * per_failure,
        unit_count=int(weights.sum()),
        failure_count=scaled.failure_count,
        iteration_count=iteration_count,
    )


def _why_not_estimable(lives: FloatArray, failures: BoolArray) -> str | None:
    """Reason why no finite estimate exists, or None if one does."""
    if not failures.any():
        return "NO_FAILURES"
    earliest = lives[failures].min()
    if earliest == 0.0:
        return "FAILURE_AT_ZERO_CYCLES"
    if earliest == lives.max():
        return "FAILURES_ONLY_AT_LONGEST_LIFE"
    return None


def _scale(lives: FloatArray, failures: BoolArray, weights: FloatArray) -> _ScaledLives:
    """Take logarithms of lives over the longest; leave out units that have not started."""
    longest = lives.max()
    # Not started: survival of 0 cycles is certain and says nothing about the parameters.
    started = lives > 0.0
    if not started.all():
        lives, failures, weights = lives[started], failures[started], weights[started]
    # For a life close to the longest the logarithm of the rounded quotient loses digits.
    with np.errstate(divide="ignore"):
        shortfall = np.log1p((lives - longest) / longest)
    log_lives = np.where(lives > 0.5 * longest, shortfall, np.log(lives) - np.log(longest))
    failure_weights = weights * failures
    failure_count = float(failure_weights.sum())
    return _ScaledLives(
        log_lives=log_lives,
        counts=weights,
        longest_cycles=float(longest),
        failure_count=int(failure_count),
        mean_log_failure=float(failure_weights @ log_lives) / failure_count,
    )


def _solve_shape(scaled: _ScaledLives) -> tuple[float, int]:
    """Root of the shape equation, and the number of Newton steps it took."""
    # All terms of sum(t**b ln t) are at most 0 here, so the root cannot lie below this:
    low, high = -1.0 / scaled.mean_log_failure, math.inf
    shape = max(low, _start_shape(scaled))
    for iteration in range(1, _MOST_STEPS + 1):
        score, slope = _score(scaled, shape)
        if score > 0.0:
            high = shape
        else:
            low = shape
        step = -score / (shape * slope)  # Newton in ln(shape)
        if abs(step) <= _NEWTON_STEP or high - low <= _NARROWEST * shape:
            return shape * math.exp(step), iteration
        proposed = shape * math.exp(min(max(step, -_LONGEST_STEP), _LONGEST_STEP))
        shape = proposed if low < proposed < high else _between(low, high)
    raise DidNotConvergeError("Weibull shape", f"{_MOST_STEPS} steps from the log lives' spread")


def _start_shape(scaled: _ScaledLives) -> float:
    """Shape that goes with the spread of the log lives: pi / sqrt(6) over their deviation."""
    total = float(scaled.counts.sum())
    mean = float(scaled.counts @ scaled.log_lives) / total
    deviations = scaled.log_lives - mean
    variance = float(scaled.counts @ (deviations * deviations)) / total
    return math.pi / math.sqrt(6.0 * variance)


def _score(scaled: _ScaledLives, shape: float) -> tuple[float, float]:
    """Left minus right side of the shape equation, and its derivative (above 0)."""
    powers = scaled.counts * np.exp(shape * scaled.log_lives)
    total = float(powers.sum())
    powers *= scaled.log_lives
    mean = float(powers.sum()) / total
    # Digits lost in this difference cost a step at most: the root does not depend on it.
    variance = max(0.0, float(powers @ scaled.log_lives) / total - mean * mean)
    return mean - 1.0 / shape - scaled.mean_log_failure, variance + 1.0 / (shape * shape)


def _between(low: float, high: float) -> float:
    """Point inside the bracket when the Newton step left it."""
    return 2.0 * low if math.isinf(high) else math.sqrt(low) * math.sqrt(high)
