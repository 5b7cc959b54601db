"""Life distributions fitted to a lot: the fit, and what it estimates at a count or a fraction."""

import math
from typing import Literal

from msgspec import Struct

_LOG_LARGEST = 709.0  # e**709 is close to the largest number a double holds.

Distribution = Literal["WEIBULL", "LOGNORMAL", "EXPONENTIAL"]


class FitCovariance(Struct, frozen=True, kw_only=True):
    """
    Covariance of a fit's location and logarithmic spread, from the observed information.

    Location is the mean log life of the normal or extreme-value form, spread its
    standard form's scale; no units. A one-parameter fit has only `location_variance`,
    the others are 0.
    """

    location_variance: float
    log_spread_variance: float
    covariance: float


class LifeFit(Struct, frozen=True, kw_only=True, tag="LIFE_FIT"):
    """
    Life distribution of greatest likelihood.

    Log life is ``location + spread * w`` with w of a standard distribution: smallest
    extreme value for WEIBULL and EXPONENTIAL (whose spread is 1), normal for LOGNORMAL.
    `location` is the logarithm of cycles: of the characteristic life (eta) for WEIBULL and
    EXPONENTIAL, of the median life for LOGNORMAL. The Weibull shape (beta) is 1 / spread.

    `log_likelihood` counts an exact failure by its density, a unit that did not fail by
    its survival and a bracket by the probability between its ends, so it is comparable
    between distributions fitted to the same lives. `failure_count` includes brackets.
    `score_size` is the largest gradient component per failure at the answer, near 0; the
    location is measured in spreads for it.
    """

    distribution: Distribution
    location: float
    spread: float
    log_likelihood: float
    covariance: FitCovariance
    unit_count: int
    failure_count: int
    iteration_count: int
    score_size: float

    @property
    def scale_cycles(self) -> float:
        """Characteristic life (eta), or the median life of a lognormal. Cycles."""
        return math.exp(self.location)

    @property
    def shape(self) -> float:
        """Weibull shape (beta); for a lognormal 1 / sigma, which has no name of its own."""
        return 1.0 / self.spread


class ThresholdWeibullFit(Struct, frozen=True, kw_only=True, tag="THRESHOLD_WEIBULL_FIT"):
    """
    Weibull of greatest likelihood nearby whose lives start at `threshold_cycles`.

    Lives beyond the threshold have the characteristic life `scale_cycles` and the shape
    `shape`, above 1. `log_likelihood` is comparable to that of a `LifeFit` of the same lives.
    """

    threshold_cycles: float
    scale_cycles: float
    shape: float
    log_likelihood: float
    unit_count: int
    failure_count: int

    def reliability(self, cycles: float) -> float:
        """Fraction of units estimated to survive `cycles` (finite, 0 or more); no bound."""
        if not 0.0 <= cycles < math.inf:
            raise ValueError(f"cycles must be a finite number of 0 or more, got {cycles!r}")
        beyond = max(0.0, cycles - self.threshold_cycles)
        log_hazard = self.shape * math.log(beyond / self.scale_cycles) if beyond else -math.inf
        return 0.0 if log_hazard > _LOG_LARGEST else math.exp(-math.exp(log_hazard))

    def b_life_cycles(self, fraction: float) -> float:
        """Cycles by which `fraction` (0 to 1, open) of the units are estimated to fail."""
        if not 0.0 < fraction < 1.0:
            raise ValueError(f"fraction must be strictly between 0 and 1, got {fraction!r}")
        beyond: float = self.scale_cycles * (-math.log1p(-fraction)) ** (1.0 / self.shape)
        return self.threshold_cycles + beyond
