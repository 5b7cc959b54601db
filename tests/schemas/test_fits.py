"""What a fit says in the trade's words."""

import math

import pytest

from schemas.fits import FitCovariance, LifeFit


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
