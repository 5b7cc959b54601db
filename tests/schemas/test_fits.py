"""What a fit says in the trade's words."""

import math

import pytest

from schemas.fits import FitCovariance, LifeFit, ThresholdWeibullFit


def test_scale_and_shape_are_read_off_location_and_spread() -> None:
    fit = LifeFit(
        distribution="WEIBULL",
        location=math.log(90_000.0),
        spread=0.5,
        log_likelihood=-10.0,
        covariance=FitCovariance(location_variance=1.0, log_spread_variance=1.0, covariance=0.0),
        unit_count=3,
        failure_count=2,
        iteration_count=4,
        score_size=0.0,
    )
    assert fit.scale_cycles == pytest.approx(90_000.0, rel=1e-14)
    assert fit.shape == 2.0


def test_a_life_with_a_threshold_cannot_end_before_it() -> None:
    fit = ThresholdWeibullFit(
        threshold_cycles=100.0,
        scale_cycles=50.0,
        shape=2.0,
        log_likelihood=-10.0,
        unit_count=3,
        failure_count=2,
    )
    assert fit.reliability(0.0) == fit.reliability(100.0) == 1.0
    assert fit.reliability(150.0) == pytest.approx(math.exp(-1.0), rel=1e-14)
    assert fit.reliability(1e300) == 0.0
    assert fit.reliability(fit.b_life_cycles(0.1)) == pytest.approx(0.9, rel=1e-14)
    for wrong in (-1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="cycles must be a finite number of 0 or more"):
            fit.reliability(wrong)
    for wrong in (0.0, 1.0, math.nan):
        with pytest.raises(ValueError, match="fraction must be strictly between 0 and 1"):
            fit.b_life_cycles(wrong)
