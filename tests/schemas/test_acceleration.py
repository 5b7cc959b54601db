"""Numbers read off a fit; reference: the line written out at another pressure."""

import math

import msgspec
import pytest

from schemas.acceleration import PressureCovariance, PressureLifeFit

FIT = PressureLifeFit(
    measure="PEAK",
    tested=(),
    central_pressure_mpa=33.0,
    central_location=12.5,
    exponent=6.0,
    spread=0.4,
    covariance=PressureCovariance(
        location_variance=0.02,
        exponent_variance=0.7,
        log_spread_variance=0.06,
        location_exponent=0.01,
        location_log_spread=-0.004,
        exponent_log_spread=0.002,
    ),
    log_likelihood=-150.0,
    unit_count=15,
    failure_count=11,
    iteration_count=6,
    score_size=1e-12,
)


def test_the_intercept_is_the_log_scale_at_one_megapascal() -> None:
    assert FIT.intercept == pytest.approx(12.5 - 6.0 * math.log(1.0 / 33.0), rel=1e-14)
    # Variance of location + exponent * ln 33, term by term.
    distance = math.log(33.0)
    variance = 0.02 + distance * (2 * 0.01 + distance * 0.7)
    assert FIT.intercept_standard_error == pytest.approx(math.sqrt(variance), rel=1e-14)


def test_the_shape_is_the_inverse_of_the_spread() -> None:
    assert FIT.shape == 2.5


def test_a_fit_comes_back_from_json_as_it_went() -> None:
    assert msgspec.json.decode(msgspec.json.encode(FIT), type=PressureLifeFit) == FIT
