"""What the assumed Weibull shape does to the quantities a lot has shown."""

from typing import Literal

from msgspec import Struct

NoPassReason = Literal["TOO_MANY_FAILURES", "NOTHING_RUN", "TOO_FEW_TARGET_LIVES"]


class WeibayesEvidence(Struct, frozen=True, kw_only=True):
    """
    What a lot has run, and how sure a statement about it is to be.

    `life_cycles` holds the counted cycles of each unit, failed or not; `failure_count` of
    them ended in a relevant failure. `confidence` is one-sided. `terminated_at_failure` is
    true if the test was planned to end at its last failure, false if at a count.
    """

    life_cycles: tuple[float, ...]
    failure_count: int
    target_cycles: float
    confidence: float
    terminated_at_failure: bool


class ReliabilityAtShape(Struct, frozen=True, kw_only=True):
    """Reliability at a count exceeded with the stated confidence, at one Weibull shape."""

    at_cycles: float
    reliability_lower: float
    shape: float


class BLifeAtShape(Struct, frozen=True, kw_only=True):
    """Cycles before which at most `fraction` fail, with the confidence, at one shape."""

    fraction: float
    lower_cycles: float
    shape: float


class ScaleAtShape(Struct, frozen=True, kw_only=True):
    """Characteristic life (eta) exceeded with the stated confidence, at one shape."""

    lower_cycles: float
    shape: float


class ShapeRow(Struct, frozen=True, kw_only=True):
    """
    All shown quantities if the Weibull shape were `shape`.

    `target_lives` is the sum over all units; `target` the reliability at the target.
    """

    shape: float
    target_lives: float
    target: ReliabilityAtShape
    scale: ScaleAtShape
    reliability: tuple[ReliabilityAtShape, ...]
    b_lives: tuple[BLifeAtShape, ...]


class WorstOverShapes(Struct, frozen=True, kw_only=True):
    """
    Each shown quantity at the shape of a range where it is least.

    Each has its own worst shape, at an end of the range or inside it: no single shape is
    the worst for all.
    """

    shape_low: float
    shape_high: float
    confidence: float
    target: ReliabilityAtShape
    scale: ScaleAtShape
    reliability: tuple[ReliabilityAtShape, ...]
    b_lives: tuple[BLifeAtShape, ...]


class ShapeInterval(Struct, frozen=True, kw_only=True):
    """
    Shapes from `low` to `high`, both included; 0 for no lower end, None for no upper end.

    Every shape is above 0: an interval with `low` 0 holds all shapes up to `high`.
    """

    low: float
    high: float | None


class PassingShapes(Struct, frozen=True, kw_only=True):
    """
    The Weibull shapes at which a lot meets a requirement; none, one interval or two.

    `target_lives_required` is what the requirement asks at every shape. `intervals` are in
    rising order and empty where no shape passes: `reason` then says why. Two intervals
    leave a gap of shapes between them at which the lot does not pass.
    """

    intervals: tuple[ShapeInterval, ...]
    reason: NoPassReason | None
    target_lives_required: float
    reliability: float
    confidence: float
    allowed_failures: int
    failure_count: int
    target_cycles: float

    def passes(self, shape: float) -> bool:
        """Whether the requirement is met if the shape is `shape` (above 0)."""
        return any(
            interval.low <= shape and (interval.high is None or shape <= interval.high)
            for interval in self.intervals
        )

    def passes_throughout(self, shape_low: float, shape_high: float) -> bool:
        """Whether the requirement is met at every shape from `shape_low` to `shape_high`."""
        return any(
            interval.low <= shape_low and (interval.high is None or shape_high <= interval.high)
            for interval in self.intervals
        )
