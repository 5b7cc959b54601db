"""The likelihood of lives written with scipy.stats' own distributions: a slow second hand."""

import math
from typing import Any

from scipy import stats

from analysis.statistics.life_records import LifeRecords
from schemas.fits import Distribution


def law_of(distribution: Distribution, location: float, spread: float) -> Any:
    """The life distribution as scipy.stats writes it."""
    if distribution == "LOGNORMAL":
        return stats.lognorm(spread, scale=math.exp(location))
    return stats.weibull_min(1.0 / spread, scale=math.exp(location))


def likelihood_by_scipy(
    records: LifeRecords, distribution: Distribution, location: float, spread: float
) -> float:
    """Each life by density, survival or a difference of two distribution functions."""
    law = law_of(distribution, location, spread)
    total = 0.0
    for low, high, count in zip(
        records.low_cycles, records.high_cycles, records.counts, strict=True
    ):
        if low == high:
            total += count * law.logpdf(low)
        elif math.isinf(high):
            total += count * law.logsf(low)
        else:
            total += count * math.log(max(law.cdf(high) - law.cdf(low), 1e-300))
    return float(total)
