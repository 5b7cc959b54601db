"""What the assumed Weibull shape does to reliability, B-lives and scale shown by a lot."""

import math
from collections.abc import Sequence

import numpy as np
from scipy import special

from analysis.checks import (
    FloatArray,
    check_count,
    check_fraction,
    check_lives,
    check_positive,
)
from analysis.errors import DidNotConvergeError, OutsideDomainError
from analysis.statistics.shape_range import least_target_lives
from analysis.statistics.weibayes import target_lives, weibayes_bound
from schemas.estimates import WeibayesBound
from schemas.shape_effects import (
    BLifeAtShape,
    ReliabilityAtShape,
    ScaleAtShape,
    ShapeRow,
    WeibayesEvidence,
    WorstOverShapes,
)

_NARROWEST = 1e-13  # Relative; the least life is flat there and does not change any more.
_MOST_STEPS = 200  # Bisection alone needs about 60 from any range of shapes.


def shape_sensitivity(
    evidence: WeibayesEvidence,
    *,
    shapes: Sequence[float],
    at_cycles: Sequence[float],
    fractions: Sequence[float],
) -> tuple[ShapeRow, ...]:
    """
    What a lot would have shown, for each of several assumed Weibull shapes.

    Parameters
    ----------
    evidence : WeibayesEvidence
        Lives (finite, 0 or more), failures, target and one-sided confidence.
    shapes : sequence of float, finite, > 0, keyword only
        Weibull shapes (beta), one row each.
    at_cycles : sequence of float, finite, > 0, keyword only
        Counts at which the reliability is wanted besides the target. Cycles.
    fractions : sequence of float, 0 < fraction < 1, keyword only
        Fractions failed whose B-lives are wanted (0.1 for B10).

    Returns
    -------
    tuple of ShapeRow
        Target lives and the one-sided lower bounds of all quantities, in the order asked.

    Raises
    ------
    OutsideDomainError
        If a number is outside its range.

    Notes
    -----
    Each row is the `weibayes_bound` at its shape. A table says how much the answer hangs on
    the assumption; it does not say which row is true.

    Examples
    --------
    >>> evidence = WeibayesEvidence(
    ...     life_cycles=(200_000.0,) * 8, failure_count=0, target_cycles=100_000.0,
    ...     confidence=0.90, terminated_at_failure=False,
    ... )
    >>> rows = shape_sensitivity(
    ...     evidence, shapes=(1.5, 2.0, 2.5), at_cycles=(), fractions=(0.1,)
    ... )
    >>> [(row.shape, round(row.target.reliability_lower, 3)) for row in rows]
    [(1.5, 0.903), (2.0, 0.931), (2.5, 0.95)]

    Units that ran two targets show more, the higher the shape is assumed.
    """
    lives = _check_evidence(evidence)
    counts = _check_counts(at_cycles)
    failed = _check_fractions(fractions)
    rows = []
    for shape in shapes:
        bound = _bound(evidence, shape)
        at_each = tuple(
            _reliability_at(bound, count) for count in (evidence.target_cycles, *counts)
        )
        rows.append(
            ShapeRow(
                shape=bound.shape,
                target_lives=target_lives(lives, evidence.target_cycles, shape=shape),
                target=at_each[0],
                scale=ScaleAtShape(lower_cycles=bound.scale_lower_cycles, shape=bound.shape),
                reliability=at_each[1:],
                b_lives=tuple(_b_life_at(bound, fraction) for fraction in failed),
            )
        )
    return tuple(rows)


def worst_over_shapes(
    evidence: WeibayesEvidence,
    *,
    shape_low: float,
    shape_high: float,
    at_cycles: Sequence[float],
    fractions: Sequence[float],
) -> WorstOverShapes:
    """
    Each quantity a lot has shown, at the shape of a range where it is least.

    Parameters
    ----------
    evidence, at_cycles, fractions
        As in `shape_sensitivity`.
    shape_low, shape_high : float, finite, 0 < shape_low <= shape_high, keyword only
        Range in which earlier evidence puts the Weibull shape (beta).

    Returns
    -------
    WorstOverShapes
        Lower bounds that hold for every shape of the range, each with the shape at which
        it is reached. With the confidence they hold whichever shape of the range is true.

    Raises
    ------
    OutsideDomainError
        If a number is outside its range.

    Notes
    -----
    With m the mean of a Poisson count that gives so few failures with chance 1 - C, the
    reliability at t is ``exp(-m / sum((life / t)**b))``. It is least where the sum is,
    and that is convex in the shape b (`least_target_lives`, with t as the target).

    A B-life is ``(q / m * sum(life**b))**(1 / b)`` with q = -ln(1 - fraction); the scale is
    the case q = 1. Its logarithm is ``u (L(1 / u) + ln(q / m))`` with u = 1 / b and L the
    logarithm of the sum, which is convex in b: so this is convex in u (the perspective of
    a convex function) and has one minimum. There the entropy of the shares
    ``life**b / sum`` equals ln(m / q). It is another shape than the one of least target
    lives.

    References
    ----------
    .. [1] S. Boyd and L. Vandenberghe, "Convex Optimization", 2004, section 3.2.6 (the
           perspective of a convex function; from memory). The entropy form is worked out
           here and held against a dense grid by the tests.

    Examples
    --------
    >>> evidence = WeibayesEvidence(
    ...     life_cycles=(60_000.0,) * 10 + (150_000.0,) * 3, failure_count=0,
    ...     target_cycles=100_000.0, confidence=0.90, terminated_at_failure=False,
    ... )
    >>> worst = worst_over_shapes(
    ...     evidence, shape_low=1.0, shape_high=3.0, at_cycles=(50_000.0,), fractions=(0.1,)
    ... )
    >>> round(worst.target.reliability_lower, 4), round(worst.target.shape, 3)
    (0.7971, 1.566)
    >>> round(worst.b_lives[0].lower_cycles), round(worst.b_lives[0].shape, 3)
    (48045, 1.0)

    The reliability at the target is least inside the range, the B10 life at its lower end.
    """
    lives = _check_evidence(evidence)
    counts = (evidence.target_cycles, *_check_counts(at_cycles))
    failed = _check_fractions(fractions)
    span = (shape_low, shape_high)
    at_each = tuple(_worst_reliability(evidence, lives, count, span) for count in counts)
    scale_bound = _bound(evidence, _worst_shape(evidence, lives, 1.0, span))
    b_lives = []
    for fraction in failed:
        shape = _worst_shape(evidence, lives, -math.log1p(-fraction), span)
        b_lives.append(_b_life_at(_bound(evidence, shape), fraction))
    return WorstOverShapes(
        shape_low=shape_low,
        shape_high=shape_high,
        confidence=evidence.confidence,
        target=at_each[0],
        scale=ScaleAtShape(lower_cycles=scale_bound.scale_lower_cycles, shape=scale_bound.shape),
        reliability=at_each[1:],
        b_lives=tuple(b_lives),
    )


def _check_evidence(evidence: WeibayesEvidence) -> FloatArray:
    """Check what the quantities below do not check themselves; give the lives."""
    lives = check_lives("life_cycles", evidence.life_cycles)
    check_count("number of life_cycles", lives.size, least=1)
    check_count("failure_count", evidence.failure_count, least=0, most=lives.size)
    if evidence.terminated_at_failure and evidence.failure_count == 0:
        raise OutsideDomainError(
            "failure_count", evidence.failure_count, "1 or more when the test ended at a failure"
        )
    check_positive("target_cycles", evidence.target_cycles)
    check_fraction("confidence", evidence.confidence)
    return lives


def _check_counts(at_cycles: Sequence[float]) -> tuple[float, ...]:
    return tuple(
        check_positive(f"at_cycles[{index}]", count) for index, count in enumerate(at_cycles)
    )


def _check_fractions(fractions: Sequence[float]) -> tuple[float, ...]:
    return tuple(
        check_fraction(f"fractions[{index}]", fraction) for index, fraction in enumerate(fractions)
    )


def _bound(evidence: WeibayesEvidence, shape: float) -> WeibayesBound:
    return weibayes_bound(
        evidence.life_cycles,
        failure_count=evidence.failure_count,
        shape=shape,
        confidence=evidence.confidence,
        terminated_at_failure=evidence.terminated_at_failure,
    )


def _reliability_at(bound: WeibayesBound, count: float) -> ReliabilityAtShape:
    return ReliabilityAtShape(
        at_cycles=count, reliability_lower=bound.reliability_lower(count), shape=bound.shape
    )


def _b_life_at(bound: WeibayesBound, fraction: float) -> BLifeAtShape:
    return BLifeAtShape(
        fraction=fraction, lower_cycles=bound.b_life_lower(fraction), shape=bound.shape
    )


def _worst_reliability(
    evidence: WeibayesEvidence, lives: FloatArray, count: float, span: tuple[float, float]
) -> ReliabilityAtShape:
    """Reliability at `count` where the lives, counted in runs to `count`, are fewest."""
    worst = least_target_lives(lives, count, shape_low=span[0], shape_high=span[1])
    return _reliability_at(_bound(evidence, worst.shape), count)


def _worst_shape(
    evidence: WeibayesEvidence, lives: FloatArray, quantile: float, span: tuple[float, float]
) -> float:
    """Shape of the range at which the life of the given exponential quantile is least."""
    failures = evidence.failure_count + (0 if evidence.terminated_at_failure else 1)
    mean = float(special.gammaincinv(failures, evidence.confidence))
    started = lives[lives > 0.0]
    if started.size == 0:
        return span[0]
    log_lives = np.log(started / started.max())
    wanted = math.log(mean / quantile)
    low, high = span
    # The entropy falls as the shape grows; the life falls with it until they meet.
    if _entropy(log_lives, low) <= wanted:
        return low
    if _entropy(log_lives, high) >= wanted:
        return high
    for _ in range(_MOST_STEPS):
        middle = 0.5 * (low + high)
        if high - low <= _NARROWEST * middle or not low < middle < high:
            return middle
        low, high = (middle, high) if _entropy(log_lives, middle) > wanted else (low, middle)
    raise DidNotConvergeError("shape of least life", f"{_MOST_STEPS} halvings of the range")


def _entropy(log_lives: FloatArray, shape: float) -> float:
    """Entropy of the units' shares of the sum of ``life**shape``."""
    with np.errstate(under="ignore"):
        powers = np.exp(shape * log_lives)
        total = float(powers.sum())
        return math.log(total) - shape * float(powers @ log_lives) / total
