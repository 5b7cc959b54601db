"""The Weibull shapes at which a lot meets a requirement: none, some or all."""

import math

import numpy as np

from analysis.checks import FloatArray, check_count, check_fraction, check_lives, check_positive
from analysis.errors import DidNotConvergeError
from analysis.statistics.rounding import ROUND_TRIP_SLACK
from analysis.statistics.weibayes import target_lives_required
from schemas.shape_effects import NoPassReason, PassingShapes, ShapeInterval, WeibayesEvidence

_CLOSE = 1e-15  # Relative length of a step that no longer changes a shape.
_MOST_STEPS = 400  # Newton needs some ten; where the curve only touches, one bit each.


def passing_shapes(
    evidence: WeibayesEvidence, *, reliability: float, allowed_failures: int
) -> PassingShapes:
    """
    At which Weibull shapes a lot meets a requirement.

    Parameters
    ----------
    evidence : WeibayesEvidence
        Lives (finite, 0 or more), failures, target and one-sided confidence. How the test
        ended plays no part: the requirement is fixed beforehand.
    reliability : float, 0 < reliability < 1, keyword only
        Fraction of units that must reach the target. No unit.
    allowed_failures : int, >= 0, keyword only
        Most failures the plan tolerates, fixed before the test started.

    Returns
    -------
    PassingShapes
        The intervals of shapes, ends included, with the requirement. The smallest passing
        shape is the `low` of the first interval, the largest the `high` of the last.

    Raises
    ------
    OutsideDomainError
        If a number is outside its range.

    Notes
    -----
    The requirement is a sum of target lives, ``chi2(C; 2 a + 2) / (-2 ln R)``. The sum
    ``(life / target)**b`` over the units is convex in the shape b, so it can lie below the
    requirement on one interval only: units beyond the target make every large shape pass,
    many units short of it every small one, and both together leave a gap. Newton's method
    on the logarithm of the sum runs from the passing side to each end of the gap without
    overshooting, or past the least sum, and then there is no gap.

    Examples
    --------
    >>> evidence = WeibayesEvidence(
    ...     life_cycles=(200_000.0,) * 12, failure_count=0, target_cycles=100_000.0,
    ...     confidence=0.90, terminated_at_failure=False,
    ... )
    >>> shapes = passing_shapes(evidence, reliability=0.95, allowed_failures=0)
    >>> [(round(part.low, 4), part.high) for part in shapes.intervals]
    [(1.9034, None)]

    Twelve units that ran two targets show 95 % with 90 % confidence if the shape is 1.9034
    or more.
    """
    lives = check_lives("life_cycles", evidence.life_cycles)
    target = check_positive("target_cycles", evidence.target_cycles)
    confidence = check_fraction("confidence", evidence.confidence)
    failures = check_count("failure_count", evidence.failure_count, least=0, most=lives.size)
    required = target_lives_required(reliability, confidence, allowed_failures=allowed_failures)
    with np.errstate(divide="ignore"):
        log_ratios = np.log(lives / target)
    intervals, reason = _intervals(log_ratios[log_ratios > -math.inf], required)
    if failures > allowed_failures:
        intervals, reason = (), "TOO_MANY_FAILURES"
    return PassingShapes(
        intervals=intervals,
        reason=reason,
        target_lives_required=required,
        reliability=reliability,
        confidence=confidence,
        allowed_failures=allowed_failures,
        failure_count=failures,
        target_cycles=target,
    )


def _intervals(
    log_ratios: FloatArray, required: float
) -> tuple[tuple[ShapeInterval, ...], NoPassReason | None]:
    """Shapes at which the sum reaches what is required, or why there are none."""
    if log_ratios.size == 0:
        return (), "NOTHING_RUN"
    # Half the slack of a comparison: the ends found are then passing shapes themselves.
    log_required = math.log(required) - 0.5 * ROUND_TRIP_SLACK
    from_zero = _end_of_small_shapes(log_ratios, log_required)
    if from_zero == math.inf:
        return (ShapeInterval(low=0.0, high=None),), None
    to_infinity = _start_of_large_shapes(log_ratios, log_required)
    if to_infinity == 0.0:
        return (ShapeInterval(low=0.0, high=None),), None
    found = []
    if from_zero > 0.0:
        found.append(ShapeInterval(low=0.0, high=from_zero))
    if to_infinity < math.inf:
        found.append(ShapeInterval(low=to_infinity, high=None))
    return tuple(found), None if found else "TOO_FEW_TARGET_LIVES"


def _end_of_small_shapes(log_ratios: FloatArray, log_required: float) -> float:
    """Largest shape up to which all pass: 0 if the small ones do not, infinity if all do."""
    if math.log(log_ratios.size) <= log_required:
        return 0.0  # at a shape near 0 each unit that has started counts as one target life
    longest = float(log_ratios.max())
    at_longest = int((log_ratios == longest).sum())
    if longest == 0.0 and math.log(at_longest) >= log_required:
        return math.inf
    return _follow(log_ratios, log_required, 0.0, rising=False)


def _start_of_large_shapes(log_ratios: FloatArray, log_required: float) -> float:
    """Smallest shape from which on all pass: infinity if large ones do not, 0 if all do."""
    longest = float(log_ratios.max())
    if longest <= 0.0:
        return math.inf
    if log_required <= 0.0:  # the longest life alone is one target life or more
        return 0.0
    return _follow(log_ratios, log_required, log_required / longest, rising=True)


def _follow(log_ratios: FloatArray, log_required: float, shape: float, *, rising: bool) -> float:
    """
    Run from a passing shape to the end of the passing ones on this side of the least sum.

    `rising` tells on which side: right of the least sum the sum rises with the shape. Gives
    infinity (0 where rising) if the least sum passes too, so that there is no such end.
    """
    none = 0.0 if rising else math.inf
    for _ in range(_MOST_STEPS):
        over, slope = _log_sum(log_ratios, shape)
        over -= log_required
        if over <= 0.0:
            return shape
        if (slope <= 0.0) if rising else (slope >= 0.0):
            return none
        step = -over / slope
        if abs(step) <= _CLOSE * shape:
            return shape
        shape += step  # on a convex curve it ends between here and the end sought
        if not 0.0 < shape < math.inf:
            return none
    raise DidNotConvergeError("end of the passing shapes", f"{_MOST_STEPS} Newton steps")


def _log_sum(log_ratios: FloatArray, shape: float) -> tuple[float, float]:
    """Logarithm of the sum of ``ratio**shape``, and its derivative by the shape."""
    longest = float(log_ratios.max())
    with np.errstate(under="ignore"):
        terms = np.exp(shape * (log_ratios - longest))
    total = float(terms.sum())
    return math.log(total) + shape * longest, float(terms @ log_ratios) / total
