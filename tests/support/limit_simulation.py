"""How often lower limits of a B10 life hold, by simulation; written apart from the product.

Lots of a Weibull, all units stopped at one count. The coverage of either limit does not depend
on scale and shape (log life is a location-scale family and the stop lies at a fixed share), so
scale 1 and shape 2 stand for all. The fits are the product's batch; Fisher limits are written
out from the information at the maximum, and whether the likelihood-ratio limit lies below the
truth is told from the profile likelihood at the truth, without looking for the limit.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.statistics.weibull_batch import weibull_batch

SHAPE = 2.0
FRACTION = 0.1
CONFIDENCE = 0.90
SHARE_FAILING = {5: 0.6}
"""Share of units that fail before the stop, by lot size; one half where not listed."""

W = float(np.log(-np.log1p(-FRACTION)))
TRUE_LOG_LIFE = W / SHAPE


@dataclass(frozen=True)
class Coverage:
    """Shares of lots whose lower limit was at or below the true life."""

    unit_count: int
    fisher_log: float
    likelihood_ratio: float
    lot_count: int
    without_maximum_share: float

    def standard_error(self, share: float) -> float:
        return float(np.sqrt(share * (1.0 - share) / self.lot_count))


def draw_lots(
    unit_count: int, lot_count: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Lives and whether each failed, one row per lot."""
    share = SHARE_FAILING.get(unit_count, 0.5)
    stop = (-np.log1p(-share)) ** (1.0 / SHAPE)
    lives = rng.weibull(SHAPE, (lot_count, unit_count))
    return np.minimum(lives, stop), lives < stop


def coverage(unit_count: int, lot_count: int, rng: np.random.Generator) -> Coverage:
    lives, failed = draw_lots(unit_count, lot_count, rng)
    fits = weibull_batch(lives, np.ones(lives.shape), failed.astype(float))
    found = fits.found
    log_lives, failed = np.log(lives[found]), failed[found]
    shapes, locations = fits.shapes[found], np.log(fits.scale_cycles[found])
    return Coverage(
        unit_count=unit_count,
        fisher_log=float(fisher_holds(log_lives, failed, locations, shapes).mean()),
        likelihood_ratio=float(ratio_holds(log_lives, failed, locations, shapes).mean()),
        lot_count=int(found.sum()),
        without_maximum_share=float(1.0 - found.mean()),
    )


def fisher_holds(
    y: np.ndarray, failed: np.ndarray, locations: np.ndarray, shapes: np.ndarray
) -> np.ndarray:
    """Whether the Fisher limit of each lot lies at or below the true log life."""
    z = (y - locations[:, None]) * shapes[:, None]
    power = np.exp(z)
    failures, spread = failed.sum(axis=1), 1.0 / shapes
    of_location = failures / spread**2
    of_both = (z * power).sum(axis=1) / spread
    of_log_spread = failures + (z * z * power).sum(axis=1)
    determinant = of_location * of_log_spread - of_both**2
    moved = spread * W
    variance = (of_log_spread - 2.0 * moved * of_both + moved**2 * of_location) / determinant
    limit = locations + moved - stats.norm.ppf(CONFIDENCE) * np.sqrt(variance)
    return limit <= TRUE_LOG_LIFE


def ratio_holds(
    y: np.ndarray, failed: np.ndarray, locations: np.ndarray, shapes: np.ndarray
) -> np.ndarray:
    """Whether the likelihood-ratio limit of each lot lies at or below the true log life."""
    top = _log_likelihood(y, failed, shapes, locations * shapes)
    best = _profile_shape(y - TRUE_LOG_LIFE, failed, shapes)
    drop = top - _log_likelihood(y, failed, best, TRUE_LOG_LIFE * best - W)
    is_above = locations + W / shapes > TRUE_LOG_LIFE
    return ~is_above | (2.0 * drop <= stats.chi2.ppf(2.0 * CONFIDENCE - 1.0, 1))


def _log_likelihood(
    y: np.ndarray, failed: np.ndarray, shapes: np.ndarray, a: np.ndarray
) -> np.ndarray:
    z = shapes[:, None] * y - a[:, None]
    return np.where(failed, z + np.log(shapes)[:, None], 0.0).sum(axis=1) - np.exp(z).sum(axis=1)


def _profile_shape(y: np.ndarray, failed: np.ndarray, start: np.ndarray) -> np.ndarray:
    """Most likely shape when the log life at the fraction is 0, by halving the log shape."""
    low, high = np.log(start) - 8.0, np.log(start) + 8.0
    failures, failed_sum = failed.sum(axis=1), np.where(failed, y, 0.0).sum(axis=1)
    for _ in range(50):
        middle = 0.5 * (low + high)
        shape = np.exp(middle)
        with np.errstate(over="ignore", invalid="ignore"):
            pull = (y * np.exp(shape[:, None] * y + W)).sum(axis=1)
        rises = failures / shape + failed_sum > pull
        low, high = np.where(rises, middle, low), np.where(rises, high, middle)
    return np.exp(0.5 * (low + high))
