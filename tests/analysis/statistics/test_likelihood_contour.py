"""References: the level itself, the closed form of the Weibull edge, a binomial likelihood."""

import math

import numpy as np
import pytest
from contours import LOT, ONCE, ONE_OF_500, contour_of, points_on
from scipy.optimize import brentq

from analysis.errors import DidNotConvergeError
from analysis.statistics import likelihood_contour as module
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.likelihood_surface import slopes_at


@pytest.mark.parametrize("distribution", ["WEIBULL", "LOGNORMAL"])
@pytest.mark.parametrize("records", [LOT, ONE_OF_500, ONCE])
@pytest.mark.parametrize("depth", [0.05, 1.28, 3.7])
def test_every_point_lies_at_the_depth(
    records: LifeRecords, distribution: str, depth: float
) -> None:
    contour = contour_of(records, distribution, depth)
    value = slopes_at(contour.surface, *points_on(contour)).value
    assert contour.peak_value - value == pytest.approx(np.full(64, depth * depth / 2), rel=1e-9)


def test_the_weibull_edge_at_a_shape_has_its_closed_form() -> None:
    # Given b the drop is d (v - 1 - ln v) with v = exp(-a) S(b) / d, plus the profile's own.
    contour = contour_of(LOT, "WEIBULL", 1.645)
    lives, counts, failed = np.array([30, 50, 80, 90]) / 90, np.array([1, 2, 5, 1]), 4.0
    y = np.log(lives)
    failed_sum = y[0] + 2 * y[1] + y[3]

    def profile(b: float) -> float:
        return failed * math.log(b) - failed * math.log(counts @ lives**b) + b * failed_sum

    for a, b in list(zip(*points_on(contour), strict=True))[::9]:
        v = math.exp(-a) * float(counts @ lives**b) / failed
        drop = profile(contour.peak[1]) - profile(b) + failed * (v - 1 - math.log(v))
        assert drop == pytest.approx(1.645**2 / 2, rel=1e-9)


def test_a_curve_that_meets_shape_0_ends_there_at_the_binomial_limits() -> None:
    contour = contour_of(ONCE, "WEIBULL", 1.645)
    assert contour.ends is not None

    # At b = 0 all 20 units have one chance p to fail, 6 did: a binomial likelihood.
    def depth_at(a: float) -> float:
        log_survival = -math.exp(-a)
        value = 14 * log_survival + 6 * math.log(-math.expm1(log_survival))
        return contour.peak_value - value - 1.645**2 / 2

    best = -math.log(-math.log(0.7))
    expected = (brentq(depth_at, best - 3, best), brentq(depth_at, best, best + 3))
    assert contour.ends == pytest.approx(expected, rel=1e-9)


def test_a_search_that_does_not_end_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_STEPS", 1)
    with pytest.raises(DidNotConvergeError, match="likelihood contour"):
        contour_of(LOT, "WEIBULL", 1.645)
