"""Life distributions fitted to a lot: the fit, and what it estimates at a count or a fraction."""

import math
from typing import Literal

from msgspec import Struct

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
    `score_size` is the largest gradient component per failure at the answer, near 0.
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
