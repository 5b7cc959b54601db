"""Life against pressure by a power law: the fit, life at another pressure, equivalent cycles."""

import math
from typing import Literal

from msgspec import Struct

from schemas.estimates import NotEstimable
from schemas.fit_limits import Limits

PressureMeasure = Literal["PEAK", "RANGE", "AMPLITUDE"]
"""Which pressure of a cycle is meant. Fatigue follows the range or the amplitude; the peak
stands for them only where every cycle falls back to the same low pressure near 0."""

Assumption = Literal["ONE_FAILURE_MODE", "COMMON_SHAPE", "NO_FATIGUE_LIMIT", "LINEAR_DAMAGE"]
"""What a power law takes for granted: the same failure mode at every pressure, one Weibull
shape at every pressure, no pressure below which nothing fails, and damage that adds up cycle
by cycle whatever their order."""

FIT_ASSUMPTIONS: tuple[Assumption, ...] = ("ONE_FAILURE_MODE", "COMMON_SHAPE", "NO_FATIGUE_LIMIT")
DAMAGE_ASSUMPTIONS: tuple[Assumption, ...] = (
    "ONE_FAILURE_MODE",
    "NO_FATIGUE_LIMIT",
    "LINEAR_DAMAGE",
)


class TestedPressure(Struct, frozen=True, kw_only=True):
    """Units tested at one pressure (MPa), those that failed, and the longest life. Cycles."""

    __test__ = False  # No test class, whatever its name begins with.

    pressure_mpa: float
    unit_count: int
    failure_count: int
    longest_cycles: float


class PressureCovariance(Struct, frozen=True, kw_only=True):
    """
    Covariance of location at the central pressure, exponent and log spread.

    From the observed information; the location is the logarithm of cycles, no units.
    """

    location_variance: float
    exponent_variance: float
    log_spread_variance: float
    location_exponent: float
    location_log_spread: float
    exponent_log_spread: float


class PressureLifeFit(Struct, frozen=True, kw_only=True, tag="PRESSURE_LIFE_FIT"):
    """
    Weibull life whose scale falls with a power of pressure, of greatest likelihood.

    ``ln scale = central_location - exponent * ln(pressure / central_pressure_mpa)``, one
    shape (beta) at every pressure, spread = 1 / shape. The central pressure is the
    geometric mean over units. `log_likelihood` counts a failure by its density per cycle,
    a unit that did not fail by its survival, a bracket by its probability. `score_size` is
    the largest gradient component per failure at the answer, near 0.
    """

    measure: PressureMeasure
    tested: tuple[TestedPressure, ...]
    central_pressure_mpa: float
    central_location: float
    exponent: float
    spread: float
    covariance: PressureCovariance
    log_likelihood: float
    unit_count: int
    failure_count: int
    iteration_count: int
    score_size: float
    assumptions: tuple[Assumption, ...] = FIT_ASSUMPTIONS

    @property
    def shape(self) -> float:
        """Weibull shape (beta) at every pressure."""
        return 1.0 / self.spread

    @property
    def intercept(self) -> float:
        """``ln scale + exponent * ln pressure``, pressure in MPa: the life at 1 MPa, far from
        any test, so of no use but to state the line."""
        return self.central_location + self.exponent * math.log(self.central_pressure_mpa)

    @property
    def intercept_standard_error(self) -> float:
        """Standard error of `intercept`."""
        distance = math.log(self.central_pressure_mpa)
        return math.sqrt(
            self.covariance.location_variance
            + 2.0 * distance * self.covariance.location_exponent
            + distance * distance * self.covariance.exponent_variance
        )


class BLifeAtPressure(Struct, frozen=True, kw_only=True):
    """Cycles by which `fraction` of the units fail at a pressure, with limits."""

    fraction: float
    cycles: Limits


class LifeAtPressure(Struct, frozen=True, kw_only=True, tag="LIFE_AT_PRESSURE"):
    """
    Life at one pressure by a fitted power law; limits one-sided at `confidence` each.

    `standing` EXTRAPOLATED: the pressure lies outside those tested, `outside_ratio` times
    away from the nearest of them (1 within them), and the limits rest on the law holding
    there. They grow with the distance, but know nothing of another failure mode or of a
    fatigue limit.
    """

    pressure_mpa: float
    confidence: float
    scale_cycles: Limits
    b_lives: tuple[BLifeAtPressure, ...]
    standing: Literal["WITHIN_TESTED_PRESSURES", "EXTRAPOLATED"]
    outside_ratio: float
    lowest_tested_mpa: float
    highest_tested_mpa: float
    assumptions: tuple[Assumption, ...] = FIT_ASSUMPTIONS


class EquivalentCycles(Struct, frozen=True, kw_only=True):
    """Cycles at the use pressure that do the damage of `cycles` at the test pressure."""

    cycles: float
    test_pressure_mpa: float
    use_pressure_mpa: float
    exponent: float
    acceleration_factor: float
    equivalent_cycles: float
    assumptions: tuple[Assumption, ...] = DAMAGE_ASSUMPTIONS


class EquivalentRange(Struct, frozen=True, kw_only=True):
    """
    Equivalent cycles over a range of assumed exponents.

    `least` is the careful figure for cycles that are to be credited, `greatest` for life
    that has been used up. The exponents at which they are reached stand beside them; the
    least may lie inside the range where some pressures are above and some below use.
    """

    use_pressure_mpa: float
    exponent_low: float
    exponent_high: float
    cycle_count: float
    least: float
    least_at_exponent: float
    greatest: float
    greatest_at_exponent: float
    assumptions: tuple[Assumption, ...] = DAMAGE_ASSUMPTIONS


class DamageSum(Struct, frozen=True, kw_only=True, tag="DAMAGE_SUM"):
    """Cycles at the use pressure that do the damage of cycles at many pressures."""

    use_pressure_mpa: float
    exponent: float
    cycle_count: float
    equivalent_cycles: float
    assumptions: tuple[Assumption, ...] = DAMAGE_ASSUMPTIONS


class ShapeAtPressure(Struct, frozen=True, kw_only=True):
    """Weibull fitted to the units of one pressure alone; scale in cycles."""

    pressure_mpa: float
    failure_count: int
    shape: float
    scale_cycles: float


class LikelihoodRatio(Struct, frozen=True, kw_only=True, tag="LIKELIHOOD_RATIO"):
    """Twice the gain in log-likelihood, its degrees of freedom and its chi-square tail."""

    statistic: float
    degrees_of_freedom: int
    p_value: float


class PressureChecks(Struct, frozen=True, kw_only=True, tag="PRESSURE_CHECKS"):
    """
    Whether the lives contradict a power law with one shape.

    `common_shape`: own shape and scale at each pressure against one shape. `power_law`:
    own scale at each pressure against the line, shape common; not to be had with two
    pressures, through which every line goes. `few_failures`: some pressure has so few that
    the chi-square tail is a guide only; then a large p-value is no proof of agreement.
    Pressures whose units give no Weibull of their own are in `left_out_mpa`.
    """

    shapes: tuple[ShapeAtPressure, ...]
    shape_in_common: float
    common_shape: LikelihoodRatio
    power_law: LikelihoodRatio | NotEstimable
    few_failures: bool
    left_out_mpa: tuple[float, ...]
