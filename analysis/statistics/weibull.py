"""Two-parameter Weibull of greatest likelihood from failures and units that did not fail."""

import math

from numpy.typing import ArrayLike

from analysis.checks import BoolArray, FloatArray, check_counts, check_flags, check_lives
from analysis.statistics.weibull_equation import scale_lives, solve_shape
from schemas.estimates import NotEstimable, WeibullFit

_LOG_LARGEST = 709.0  # e**709 is close to the largest number a double holds.


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
    weights = None
    if counts is not None:
        weights = check_counts("counts", counts, length=lives.size)
    reason = _why_not_estimable(lives, failures)
    if reason is not None:
        return NotEstimable(reason=reason)
    scaled = scale_lives(lives, failures, weights)
    root = solve_shape(scaled)
    log_total = math.log(root.total / scaled.failure_count)
    log_scale_ratio = log_total / root.shape
    log_longest = math.log(scaled.longest_cycles)
    if max(log_scale_ratio + log_longest, log_scale_ratio) > _LOG_LARGEST:
        return NotEstimable(reason="SCALE_NOT_REPRESENTABLE")
    # (t / scale)**shape adds up to the number of failures at the greatest likelihood.
    per_failure = (
        math.log(root.shape)
        + (root.shape - 1.0) * scaled.mean_log_failure
        - log_total
        - log_longest
        - 1.0
    )
    return WeibullFit(
        scale_cycles=scaled.longest_cycles * math.exp(log_scale_ratio),
        shape=root.shape,
        log_likelihood=scaled.failure_count * per_failure,
        unit_count=lives.size if weights is None else int(weights.sum()),
        failure_count=int(scaled.failure_count),
        iteration_count=root.iteration_count,
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
