"""Trading units against cycles when the Weibull shape is known beforehand.

Every unit runs L target lives instead of one; L is the life ratio. Two forms are named:

- *binomial*: count failures among units run L lives each, against the reliability
  ``R**(L**shape)`` there. Exact, whatever happens to a unit that failed.
- *Poisson*: count failures against the sum of target lives. Exact with failures only where
  cycles keep adding up after a failure (a unit repaired in place); a unit that leaves on
  failure makes it claim slightly too much.

They agree when no failure is allowed. For L above 1 a shape assumed too high overstates the
reliability, for L below 1 a shape assumed too low does; a longer run may also meet another
failure mode, for which nothing here holds.
"""

import math

from numpy.typing import ArrayLike

from analysis.checks import check_count, check_fraction, check_lives, check_positive
from analysis.errors import OutsideDomainError
from analysis.statistics.bounds import log_reliability_lower, reliability_lower
from analysis.statistics.rounding import round_up
from analysis.statistics.success_run import units_required_at
from analysis.statistics.weibayes import (
    reaches_requirement,
    reliability_lower_from_target_lives,
    target_lives,
    target_lives_required,
)
from schemas.estimates import (
    CyclesPlan,
    DurationPlan,
    DurationResult,
    LifeRatioPlan,
    MixedLivesResult,
)

_MOST_UNITS = 2**53  # Above it a double no longer tells one unit from the next.


def reliability_at_life_ratio(reliability: float, life_ratio: float, *, shape: float) -> float:
    """
    Reliability after several target lives that goes with a reliability after one.

    Parameters
    ----------
    reliability : float, 0 < reliability < 1
        Fraction of units that reach the target. No unit.
    life_ratio : float, finite, > 0
        Cycles of interest divided by the target. No unit.
    shape : float, finite, > 0, keyword only
        Weibull shape (beta), assumed from earlier evidence.

    Returns
    -------
    float
        ``reliability**(life_ratio**shape)``; 0 where it is too small for a number.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Examples
    --------
    >>> round(reliability_at_life_ratio(0.90, 2.0, shape=2.0), 4)
    0.6561

    Of units that are 90 % reliable at the target, 65.6 % reach twice the target.
    """
    return math.exp(_log_reliability_at(reliability, life_ratio, shape))


def units_for_life_ratio(
    reliability: float,
    confidence: float,
    *,
    life_ratio: float,
    shape: float,
    allowed_failures: int,
) -> DurationPlan:
    """
    Units needed when each runs `life_ratio` target lives.

    Parameters
    ----------
    reliability : float, 0 < reliability < 1
        Fraction of units that must reach the target. No unit.
    confidence : float, 0 < confidence < 1
        One-sided confidence of the demonstration. No unit.
    life_ratio : float, finite, > 0, keyword only
        Planned cycles divided by target cycles. No unit.
    shape : float, finite, > 0, keyword only
        Weibull shape (beta), assumed from earlier evidence.
    allowed_failures : int, >= 0, keyword only
        Most failures up to the planned cycles, fixed before the test starts.

    Returns
    -------
    DurationPlan
        Units in both forms and the reliability at the planned cycles.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    Binomial: the smallest n for ``R**(L**shape)``. Poisson: the smallest n with
    ``n * L**shape >= chi2(C; 2 a + 2) / (-2 ln R)``.

    Examples
    --------
    >>> plan = units_for_life_ratio(
    ...     0.90, 0.90, life_ratio=1.5, shape=2.0, allowed_failures=2
    ... )
    >>> plan.unit_count_binomial, plan.unit_count_poisson
    (24, 23)

    Units leave the rig when they fail, so 24 are needed.
    """
    required = target_lives_required(reliability, confidence, allowed_failures=allowed_failures)
    log_reliability = _log_reliability_at(reliability, life_ratio, shape)
    lives_each = _target_lives_each(life_ratio, shape)
    exact = required / lives_each
    if exact > _MOST_UNITS:
        raise OutsideDomainError("life_ratio", life_ratio, "large enough for a countable lot")
    poisson = max(1, math.ceil(exact))
    if poisson > 1 and reaches_requirement((poisson - 1) * lives_each, required):
        poisson -= 1
    return DurationPlan(
        unit_count_binomial=units_required_at(
            log_reliability, confidence, allowed_failures=allowed_failures
        ),
        unit_count_poisson=poisson,
        unit_count_poisson_exact=exact,
        reliability_at_planned_cycles=math.exp(log_reliability),
        life_ratio=life_ratio,
        shape=shape,
        reliability=reliability,
        confidence=confidence,
        allowed_failures=allowed_failures,
    )


def life_ratio_for_units(
    reliability: float,
    confidence: float,
    *,
    unit_count: int,
    shape: float,
    allowed_failures: int,
) -> LifeRatioPlan:
    """
    Target lives that each of a given number of units must run.

    Parameters
    ----------
    reliability, confidence, shape, allowed_failures
        As in `units_for_life_ratio`.
    unit_count : int, > allowed_failures, keyword only
        Units available.

    Returns
    -------
    LifeRatioPlan
        Planned cycles divided by target cycles in both forms, not rounded; below 1 when
        there are more units than one target life needs.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range, or all units may fail.

    Examples
    --------
    >>> plan = life_ratio_for_units(
    ...     0.90, 0.90, unit_count=6, shape=2.0, allowed_failures=0
    ... )
    >>> round(plan.life_ratio_binomial, 4)
    1.9085

    Six units must run 1.91 target lives each without a failure.
    """
    required = target_lives_required(reliability, confidence, allowed_failures=allowed_failures)
    units = check_count("unit_count", unit_count, least=allowed_failures + 1)
    check_positive("shape", shape)
    log_lower = log_reliability_lower(units, allowed_failures, confidence=confidence)
    return LifeRatioPlan(
        life_ratio_binomial=_life_ratio(log_lower / math.log(reliability), shape),
        life_ratio_poisson=_life_ratio(required / units, shape),
        unit_count=units,
        shape=shape,
        reliability=reliability,
        confidence=confidence,
        allowed_failures=allowed_failures,
    )


def cycles_for_units(plan: LifeRatioPlan, target_cycles: float) -> CyclesPlan:
    """
    Cycles that each unit of a plan must run.

    Parameters
    ----------
    plan : LifeRatioPlan
        As given by `life_ratio_for_units`.
    target_cycles : float, finite, > 0
        The target life. Cycles.

    Returns
    -------
    CyclesPlan
        Whole cycles in both forms, rounded up.

    Raises
    ------
    OutsideDomainError
        If `target_cycles` is outside its range, or a count of cycles is too large for a number.

    Examples
    --------
    >>> plan = life_ratio_for_units(
    ...     0.90, 0.90, unit_count=8, shape=2.0, allowed_failures=0
    ... )
    >>> cycles_for_units(plan, 1_000_000).cycles_binomial
    1652814

    Eight units must run 1 652 814 cycles each for a target of a million.
    """
    target = check_positive("target_cycles", target_cycles)
    planned = (target * plan.life_ratio_binomial, target * plan.life_ratio_poisson)
    if not math.isfinite(max(planned)):
        raise OutsideDomainError("target_cycles", target_cycles, "small enough for finite cycles")
    return CyclesPlan(
        cycles_binomial=round_up(planned[0]),
        cycles_poisson=round_up(planned[1]),
        target_cycles=target,
    )


def reliability_shown(
    unit_count: int,
    failure_count: int,
    *,
    life_ratio: float,
    shape: float,
    confidence: float,
) -> DurationResult:
    """
    Reliability at one target life shown by units that ran several lives each.

    Parameters
    ----------
    unit_count : int, >= 1
        Units run, those that failed included.
    failure_count : int, 0 to unit_count
        Units that failed before `life_ratio` target lives.
    life_ratio, shape, confidence
        As in `units_for_life_ratio`.

    Returns
    -------
    DurationResult
        One-sided lower bounds in both forms.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Examples
    --------
    >>> shown = reliability_shown(10, 1, life_ratio=1.5, shape=2.0, confidence=0.90)
    >>> round(shown.reliability_lower_binomial, 4)
    0.8331

    One of ten units failed on the way to 1.5 lives: 83.3 % reach one life.
    """
    lives_each = _target_lives_each(life_ratio, shape)
    lower = reliability_lower(unit_count, failure_count, confidence=confidence)
    if lower > 0.0:
        log_lower = log_reliability_lower(unit_count, failure_count, confidence=confidence)
        lower = math.exp(log_lower / lives_each)
    return DurationResult(
        reliability_lower_binomial=lower,
        reliability_lower_poisson=reliability_lower_from_target_lives(
            unit_count * lives_each, failure_count, confidence=confidence
        ),
        unit_count=unit_count,
        failure_count=failure_count,
        life_ratio=life_ratio,
        shape=shape,
        confidence=confidence,
    )


def reliability_from_mixed_lives(
    life_cycles: ArrayLike,
    target_cycles: float,
    *,
    failure_count: int,
    shape: float,
    confidence: float,
) -> MixedLivesResult:
    """
    Reliability at the target shown by units that ran unequal numbers of cycles.

    Parameters
    ----------
    life_cycles : array_like of float, shape (n,), finite, >= 0
        Counted cycles of each unit, failed or not. Cycles.
    target_cycles : float, finite, > 0
        The target life. Cycles.
    failure_count : int, 0 to n, keyword only
        Units whose life ended in a relevant failure.
    shape, confidence
        As in `units_for_life_ratio`.

    Returns
    -------
    MixedLivesResult
        Target lives run and the one-sided lower bound (0 when nothing has run).

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    An interrupted unit counts with the cycles it ran. Exact for no failure and cycles
    fixed beforehand, or for a test that ends at a sum of target lives fixed beforehand.

    Examples
    --------
    >>> shown = reliability_from_mixed_lives(
    ...     [100_000] * 20 + [64_000], 100_000, failure_count=0, shape=2.0, confidence=0.90
    ... )
    >>> round(shown.target_lives, 4), round(shown.reliability_lower, 4)
    (20.4096, 0.8933)

    The unit stopped at 64 000 cycles is worth 0.41 of a full run.
    """
    lives = check_lives("life_cycles", life_cycles)
    check_count("failure_count", failure_count, least=0, most=lives.size)
    total = target_lives(lives, target_cycles, shape=shape)
    return MixedLivesResult(
        target_lives=total,
        reliability_lower=reliability_lower_from_target_lives(
            total, failure_count, confidence=confidence
        ),
        failure_count=failure_count,
        shape=shape,
        confidence=confidence,
    )


def _target_lives_each(life_ratio: float, shape: float) -> float:
    """Target lives of one unit that runs `life_ratio` targets."""
    check_positive("life_ratio", life_ratio)
    check_positive("shape", shape)
    try:
        lives = float(life_ratio**shape)
    except OverflowError:
        lives = math.inf
    if not 0.0 < lives < math.inf:
        raise OutsideDomainError(
            "life_ratio", life_ratio, "such that its power by the shape is a number above 0"
        )
    return lives


def _log_reliability_at(reliability: float, life_ratio: float, shape: float) -> float:
    check_fraction("reliability", reliability)
    return _target_lives_each(life_ratio, shape) * math.log(reliability)


def _life_ratio(target_lives_each: float, shape: float) -> float:
    """Targets a unit must run to count as `target_lives_each`."""
    try:
        return float(target_lives_each ** (1.0 / shape))
    except OverflowError:
        raise OutsideDomainError("shape", shape, "large enough for a finite life ratio") from None
