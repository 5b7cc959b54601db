"""Likelihood-ratio limits the way textbooks say it: a profile per value, a root per limit.

The profile is found by a general one-dimensional minimiser and each limit by brentq. Slow, and
written apart from the product.
"""

import math
from collections.abc import Callable

import numpy as np
from scipy import special, stats
from scipy.optimize import brentq, minimize_scalar

from analysis.statistics.life_records import LifeRecords

FORMS = {"WEIBULL": stats.gumbel_l, "LOGNORMAL": stats.norm}


class Lives:
    """A lot's log-likelihood in plain terms, logarithms taken once."""

    def __init__(self, records: LifeRecords, distribution: str) -> None:
        low, high, counts = records.low_cycles, records.high_cycles, records.counts
        exact, whole = low == high, np.isinf(high)
        between = ~(exact | whole)
        self.is_weibull = distribution == "WEIBULL"
        self.exact, self.exact_counts = np.log(low[exact]), counts[exact]
        self.whole, self.whole_counts = np.log(low[whole]), counts[whole]
        with np.errstate(divide="ignore"):
            self.low = np.log(low[between])
        self.high, self.between_counts = np.log(high[between]), counts[between]

    def log_likelihood(self, location: float, spread: float) -> float:
        """Density per cycle, survival, or probability between both ends."""
        with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
            z, whole = (self.exact - location) / spread, (self.whole - location) / spread
            low, high = (self.low - location) / spread, (self.high - location) / spread
            if self.is_weibull:
                density, survival = z - np.exp(z), -np.exp(whole)
                shares = np.exp(-np.exp(low)) - np.exp(-np.exp(high))
            else:
                density = -0.5 * z * z - 0.5 * math.log(2.0 * math.pi)
                survival = special.log_ndtr(-whole)
                shares = special.ndtr(high) - special.ndtr(low)
            total = self.exact_counts @ (density - math.log(spread) - self.exact)
            total += self.whole_counts @ survival
            if self.low.size:
                total += self.between_counts @ np.log(shares)
            return float(total)


class Textbook:
    """Limits of one lot at one one-sided confidence, each quantity by itself."""

    def __init__(
        self, records: LifeRecords, distribution: str, estimate: tuple[float, float], C: float
    ) -> None:
        self.lives, self.distribution = Lives(records, distribution), distribution
        self.location, self.spread = estimate
        self.level = self.lives.log_likelihood(*estimate) - 0.5 * float(
            stats.chi2.ppf(2.0 * C - 1.0, 1)
        )

    def spread_limits(self) -> tuple[float, float]:
        """Of the logarithm of the spread."""

        def profile(log_spread: float) -> float:
            spread = math.exp(log_spread)
            return self._best(lambda x: (x, spread), self.location, 0.1 * self.spread)

        return self._both(profile, math.log(self.spread), 0.2)

    def log_life_limits(self, fraction: float) -> tuple[float, float]:
        w = float(FORMS[self.distribution].ppf(fraction))

        def profile(log_life: float) -> float:
            return self._best(
                lambda x: (log_life - math.exp(x) * w, math.exp(x)), math.log(self.spread), 0.1
            )

        return self._both(profile, self.location + self.spread * w, 0.2 * self.spread)

    def location_limits(self) -> tuple[float, float]:
        def profile(location: float) -> float:
            return self._best(lambda x: (location, math.exp(x)), math.log(self.spread), 0.1)

        return self._both(profile, self.location, 0.2 * self.spread)

    def reliability_limits(self, cycles: float) -> tuple[float, float]:
        y = math.log(cycles)

        def profile(standard: float) -> float:
            return self._best(
                lambda x: (y - math.exp(x) * standard, math.exp(x)), math.log(self.spread), 0.1
            )

        low, high = self._both(profile, (y - self.location) / self.spread, 0.2)
        survival = FORMS[self.distribution].sf
        return float(survival(high)), float(survival(low))

    def _best(
        self, pair: Callable[[float], tuple[float, float]], start: float, width: float
    ) -> float:
        def loss(x: float) -> float:
            value = self.lives.log_likelihood(*pair(x))
            return -value if math.isfinite(value) else 1e30

        with np.errstate(over="ignore"):
            found = minimize_scalar(loss, bracket=(start - width, start + width), tol=1e-11)
        return -float(found.fun) - self.level

    def _both(
        self, profile: Callable[[float], float], estimate: float, step: float
    ) -> tuple[float, float]:
        return self._end(profile, estimate, -step), self._end(profile, estimate, step)

    def _end(self, profile: Callable[[float], float], estimate: float, step: float) -> float:
        inside, outside = estimate, estimate + step
        while profile(outside) > 0.0:
            inside, outside, step = outside, outside + step, 1.6 * step
        return float(brentq(profile, inside, outside, xtol=1e-13, rtol=1e-14))
