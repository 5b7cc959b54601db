"""Survival of a lot without an assumed life distribution: curves by steps and by intervals."""

from bisect import bisect_right
from typing import Literal

from msgspec import Struct

from schemas.estimates import NotEstimable

_ROUNDING = 1e-12  # A survival this close to the one sought is that survival.


class SurvivalLimits(Struct, frozen=True, kw_only=True, tag="SURVIVAL_LIMITS"):
    """Limits of one estimate; each holds alone with the curve's one-sided `confidence`."""

    lower: float
    upper: float


class SurvivalStep(Struct, frozen=True, kw_only=True):
    """
    Fall of the survival curve at one count at which units failed.

    `survival` is the value from this count on; `at_risk` the units that had not failed
    or stopped before it. Where every remaining unit failed, survival is 0 and has neither
    standard error nor limits: reason ``NO_LIMITS_AT_ZERO_SURVIVAL``.
    """

    cycles: float
    at_risk: int
    failures: int
    survival: float
    standard_error: float | NotEstimable
    plain_limits: SurvivalLimits | NotEstimable
    log_log_limits: SurvivalLimits | NotEstimable


class SurvivalCurve(Struct, frozen=True, kw_only=True, tag="SURVIVAL_CURVE"):
    """
    Product-limit (Kaplan-Meier) estimate of the fraction of units that survive a count.

    No failure gives a curve without steps: survival 1 up to the longest life. Limits are
    one-sided at `confidence` each, so a pair is two-sided at ``2 * confidence - 1``.
    Plain limits are symmetric and cut off at 0 and 1; log-log limits stay inside by
    themselves and are the better ones with few failures. Past the longest life the curve
    is not known, unless every unit at that life failed and nothing survives.
    """

    steps: tuple[SurvivalStep, ...]
    longest_cycles: float
    unit_count: int
    failure_count: int
    confidence: float

    def survival_at(self, cycles: float) -> float | NotEstimable:
        """Fraction surviving `cycles` (0 or more), or ``BEYOND_LONGEST_LIFE``."""
        step = self._step_at(cycles)
        if isinstance(step, NotEstimable):
            return step
        return 1.0 if step is None else step.survival

    def log_log_limits_at(self, cycles: float) -> SurvivalLimits | NotEstimable:
        """
        Log-log limits of the survival at `cycles` (0 or more), or why there are none.

        ``NO_LIMITS_BEFORE_FIRST_FAILURE`` where survival is still 1: a demonstration
        without failures is a matter of the number of units, not of this curve.
        """
        step = self._step_at(cycles)
        if isinstance(step, NotEstimable):
            return step
        if step is None:
            return NotEstimable(reason="NO_LIMITS_BEFORE_FIRST_FAILURE")
        return step.log_log_limits

    def b_life_cycles(self, fraction: float) -> float | NotEstimable:
        """First count by which at least `fraction` (0 to 1, open) failed, or
        ``BEYOND_LONGEST_LIFE`` where the curve ends above."""
        if not 0.0 < fraction < 1.0:
            raise ValueError(f"fraction must be strictly between 0 and 1, got {fraction!r}")
        for step in self.steps:
            if step.survival <= 1.0 - fraction + _ROUNDING:
                return step.cycles
        return NotEstimable(reason="BEYOND_LONGEST_LIFE")

    def _step_at(self, cycles: float) -> SurvivalStep | NotEstimable | None:
        """Last step at or before `cycles`; None before the first one."""
        _check_cycles(cycles)
        position = bisect_right(self.steps, cycles, key=lambda step: step.cycles)
        step = self.steps[position - 1] if position else None
        if cycles > self.longest_cycles and (step is None or step.survival > 0.0):
            return NotEstimable(reason="BEYOND_LONGEST_LIFE")
        return step


class HazardStep(Struct, frozen=True, kw_only=True):
    """Rise of the cumulative hazard at one count at which units failed; value from there on."""

    cycles: float
    at_risk: int
    failures: int
    cumulative_hazard: float
    standard_error: float
    limits: SurvivalLimits


class HazardCurve(Struct, frozen=True, kw_only=True, tag="HAZARD_CURVE"):
    """
    Nelson-Aalen estimate of the cumulative hazard.

    Units that fail at one count share it as d failures over n at risk (`tie_rule`
    FAILED_OVER_AT_RISK), not one after the other, which would give a larger hazard.
    Limits are one-sided at `confidence` each, symmetric in the logarithm of the hazard.
    """

    steps: tuple[HazardStep, ...]
    longest_cycles: float
    unit_count: int
    failure_count: int
    confidence: float
    tie_rule: Literal["FAILED_OVER_AT_RISK"] = "FAILED_OVER_AT_RISK"

    def hazard_at(self, cycles: float) -> float | NotEstimable:
        """Cumulative hazard at `cycles` (0 or more), or ``BEYOND_LONGEST_LIFE``."""
        _check_cycles(cycles)
        if cycles > self.longest_cycles:
            return NotEstimable(reason="BEYOND_LONGEST_LIFE")
        position = bisect_right(self.steps, cycles, key=lambda step: step.cycles)
        return self.steps[position - 1].cumulative_hazard if position else 0.0


class MassInterval(Struct, frozen=True, kw_only=True):
    """
    Stretch of cycles to which the lives give a probability of failing, without saying where.

    Open at the low end, closed at the high one; ``low == high`` is one count. No high end:
    after `low_cycles`, at a count nobody saw.
    """

    low_cycles: float
    high_cycles: float | None
    mass: float


class IntervalSurvival(Struct, frozen=True, kw_only=True, tag="INTERVAL_SURVIVAL"):
    """
    Survival of greatest likelihood from lives known only between counts (Turnbull).

    The masses add up to 1. Between the intervals survival is known, inside one only that it
    lies between the values at its ends. `excess` is how far the log-likelihood could lie
    below its maximum at most (0 is reached). No limits are given: none are known that hold
    for such lives in small lots.
    """

    intervals: tuple[MassInterval, ...]
    longest_cycles: float
    unit_count: int
    failure_count: int
    log_likelihood: float
    excess: float
    iteration_count: int

    def survival_at(self, cycles: float) -> float | NotEstimable:
        """
        Fraction surviving `cycles` (0 or more), or why it is not known.

        ``WITHIN_MASS_INTERVAL`` inside an interval that holds mass,
        ``BEYOND_LONGEST_LIFE`` where only units that never failed are left.
        """
        lower, upper = self.survival_between(cycles)
        if lower == upper:
            return upper
        last = self.intervals[-1] if self.intervals else None
        if last is None or (last.high_cycles is None and cycles > last.low_cycles):
            return NotEstimable(reason="BEYOND_LONGEST_LIFE")
        return NotEstimable(reason="WITHIN_MASS_INTERVAL")

    def survival_between(self, cycles: float) -> tuple[float, float]:
        """Least and greatest survival at `cycles` that the masses allow; not a limit."""
        _check_cycles(cycles)
        lower = upper = 1.0
        if not self.intervals:
            return (0.0, 1.0) if cycles > 0.0 else (1.0, 1.0)
        for interval in self.intervals:
            ended = interval.high_cycles is not None and interval.high_cycles <= cycles
            if ended:
                upper -= interval.mass
            if ended or interval.low_cycles < cycles:
                lower -= interval.mass
        return max(lower, 0.0), max(upper, 0.0)


def _check_cycles(cycles: float) -> None:
    """Refuse a count that is none; infinity and nan compare False on one side."""
    if not 0.0 <= cycles < float("inf"):
        raise ValueError(f"cycles must be a finite number of 0 or more, got {cycles!r}")
