"""What the statistics say about a lot: demonstrations, bounds, fits, and "cannot be estimated"."""

import math

from msgspec import Struct


class NotEstimable(Struct, frozen=True, kw_only=True, tag="NOT_ESTIMABLE"):
    """
    A quantity the data cannot give, with the reason as a code; an answer, not an error.

    Reasons: ``NO_FAILURES`` (nothing failed, the best case of all),
    ``FAILURES_ONLY_AT_LONGEST_LIFE`` (no failure lies below the longest life, so the
    likelihood grows with the shape without end), ``FAILURE_AT_ZERO_CYCLES`` (a unit was
    found failed before its first cycle; no Weibull life is 0),
    ``ONE_COUNT_FITS_ALL`` (one count lies within every bracket and no unit outlived it: the
    same, for bracketed lives), ``SPREAD_WITHOUT_END`` (each unit was looked at once, and
    later looks did not find more failed), ``NONE_SEEN_WHOLE`` (no unit was ever seen
    unbroken after its start), ``NO_INTERIOR_MAXIMUM`` (no threshold between 0 and the first
    failure is more likely than those beside it), ``SCALE_NOT_REPRESENTABLE`` (the estimated
    scale exceeds every number a computer holds) and ``CANNOT_BE_SHOWN`` (more failures are
    allowed than a lot of this size may hold nonconforming units, so that no sample shows
    the claim).

    Ranks, curves and pressures: ``BRACKETED_LIVES`` (a method that needs exact failures was
    given failures known only between two counts), ``FEWER_THAN_TWO_FAILURE_LIVES`` (one
    point fixes no line), ``BEYOND_LONGEST_LIFE`` (no unit got that far),
    ``WITHIN_MASS_INTERVAL`` (survival falls somewhere within brackets that hold this count),
    ``NO_LIMITS_BEFORE_FIRST_FAILURE`` and ``NO_LIMITS_AT_ZERO_SURVIVAL`` (a curve at 1 or 0
    has none), ``FEWER_THAN_TWO_FAILURE_PRESSURES`` (one pressure shows no power),
    ``ONE_LINE_FITS_ALL`` (a line through all failures that no other unit outlived),
    ``FEWER_THAN_TWO_GROUPS`` (nothing to compare) and ``TWO_PRESSURES_FIT_ANY_LINE``.

    Limits of fits: ``NO_FINITE_LIMIT`` (the data let the quantity run to 0 or without end),
    ``SHAPE_NOT_FITTED`` (the distribution gives it) and
    ``TOO_MANY_RESAMPLES_WITHOUT_MAXIMUM`` (resampled lots without a fit could have moved it).

    A prior of the shape: ``NOTHING_HAS_RUN`` (no unit has a cycle) and ``SHAPE_WITHOUT_END``
    (all lives are so short of the target that the tail of a lognormal prior would decide).

    When asked over HTTP: ``DID_NOT_CONVERGE`` (a search did not settle), ``TOO_MANY_LIVES``
    (it would take too long), ``TOOK_TOO_LONG`` (a library did) and ``EXPONENT_BELOW_ZERO``
    (life grew with pressure: no damage can be converted).

    Groups, lots and modes: ``SHAPES_DIFFER`` (so that there is no one scale to compare),
    ``ALL_FAILED_AT_ONCE``, ``STOPPED_BEFORE_FIRST_FAILURE`` (a group that says nothing),
    ``ONE_UNIT_ONLY`` (a lot whose one life any shape explains), ``TOO_FEW_FAILURES`` (to
    tell two populations from one) and ``MODE_NOT_ESTIMABLE`` (a mode that failed units has
    no fit, so nothing is called the reliability).
    """

    reason: str


class SuccessRunPlan(Struct, frozen=True, kw_only=True):
    """
    Fewest units, each run to the target once, that demonstrate a reliability.

    `confidence_reached` is the one-sided confidence with exactly the allowed failures,
    `confidence_one_unit_less` what one unit fewer would have given (0 if it would leave
    no more units than may fail).
    """

    reliability: float
    confidence: float
    allowed_failures: int
    unit_count: int
    confidence_reached: float
    confidence_one_unit_less: float


class TwoSidedProportion(Struct, frozen=True, kw_only=True):
    """Exact two-sided limits of a proportion; each end alone is a one-sided limit at
    ``(1 + two_sided_confidence) / 2``."""

    lower: float
    upper: float
    two_sided_confidence: float


class ShapeExtreme(Struct, frozen=True, kw_only=True):
    """Weibull shape at which the sum of target lives is least or largest, and that sum."""

    shape: float
    target_lives: float


class WeibayesBound(Struct, frozen=True, kw_only=True):
    """
    Lower bound on a Weibull scale whose shape is assumed; cycles and one-sided fractions.

    `scale_point_cycles` is the maximum-likelihood scale, which needs a failure.
    `degrees_of_freedom` are those of the chi-square quantile behind the bound.
    """

    scale_point_cycles: float | NotEstimable
    scale_lower_cycles: float
    degrees_of_freedom: int
    shape: float
    confidence: float
    unit_count: int
    failure_count: int
    terminated_at_failure: bool

    def reliability_lower(self, cycles: float) -> float:
        """Reliability at `cycles` (finite, 0 or more) exceeded with the stated confidence."""
        return _weibull_reliability(cycles, self.scale_lower_cycles, self.shape)

    def b_life_lower(self, fraction: float) -> float:
        """Cycles before which at most `fraction` (0 to 1, open) fail, with the confidence."""
        return _weibull_b_life(fraction, self.scale_lower_cycles, self.shape)


class WeibullFit(Struct, frozen=True, kw_only=True, tag="WEIBULL_FIT"):
    """
    Two-parameter Weibull of greatest likelihood; `scale_cycles` (eta) in cycles.

    `log_likelihood` counts a failure by its density and a unit that did not fail by its
    survival, so it is comparable between life distributions fitted to the same lives.
    """

    scale_cycles: float
    shape: float
    log_likelihood: float
    unit_count: int
    failure_count: int
    iteration_count: int

    def reliability(self, cycles: float) -> float:
        """Fraction of units estimated to survive `cycles` (finite, 0 or more); no bound."""
        return _weibull_reliability(cycles, self.scale_cycles, self.shape)

    def b_life_cycles(self, fraction: float) -> float:
        """Cycles by which `fraction` (0 to 1, open) of the units are estimated to fail."""
        return _weibull_b_life(fraction, self.scale_cycles, self.shape)


class DurationPlan(Struct, frozen=True, kw_only=True):
    """
    Units needed when each runs `life_ratio` target lives.

    The binomial count holds whatever happens to a failed unit; the Poisson count is exact
    only where cycles keep adding up after a failure. They agree when none may fail.
    """

    unit_count_binomial: int
    unit_count_poisson: int
    unit_count_poisson_exact: float
    reliability_at_planned_cycles: float
    life_ratio: float
    shape: float
    reliability: float
    confidence: float
    allowed_failures: int


class LifeRatioPlan(Struct, frozen=True, kw_only=True):
    """Target lives that each of `unit_count` units must run, in both forms of `DurationPlan`."""

    life_ratio_binomial: float
    life_ratio_poisson: float
    unit_count: int
    shape: float
    reliability: float
    confidence: float
    allowed_failures: int


class CyclesPlan(Struct, frozen=True, kw_only=True):
    """Cycles that each unit of a `LifeRatioPlan` must run, rounded up to whole cycles."""

    cycles_binomial: int
    cycles_poisson: int
    target_cycles: float


class DurationResult(Struct, frozen=True, kw_only=True):
    """Lower bounds on reliability at one target life after units ran `life_ratio` lives each."""

    reliability_lower_binomial: float
    reliability_lower_poisson: float
    unit_count: int
    failure_count: int
    life_ratio: float
    shape: float
    confidence: float


class MixedLivesResult(Struct, frozen=True, kw_only=True):
    """Lower bound on reliability at the target from units that ran unequal numbers of cycles."""

    target_lives: float
    reliability_lower: float
    failure_count: int
    shape: float
    confidence: float


def _weibull_reliability(cycles: float, scale_cycles: float, shape: float) -> float:
    """Weibull survival, free of overflow; a scale of 0 cycles means nothing is shown."""
    if not 0.0 <= cycles < math.inf:
        raise ValueError(f"cycles must be a finite number of 0 or more, got {cycles!r}")
    if cycles == 0.0:
        return 1.0
    if scale_cycles == 0.0:
        return 0.0
    try:
        return math.exp(-((cycles / scale_cycles) ** shape))
    except OverflowError:
        return 0.0


def _weibull_b_life(fraction: float, scale_cycles: float, shape: float) -> float:
    """Weibull quantile: the cycles by which `fraction` has failed."""
    if not 0.0 < fraction < 1.0:
        raise ValueError(f"fraction must be strictly between 0 and 1, got {fraction!r}")
    return float(scale_cycles * (-math.log1p(-fraction)) ** (1.0 / shape))
