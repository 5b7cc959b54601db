"""Reference: delta method with numerical derivatives of scipy.stats' own functions."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.fisher_limits import fisher_limits
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import lives_with_run_outs
from schemas.estimates import NotEstimable
from schemas.fits import FitCovariance, LifeFit

Z = float(stats.norm.ppf(0.95))


def fit_with(
    distribution: Any = "WEIBULL",
    location: float = 11.0,
    spread: float = 0.4,
    variances: tuple[float, float, float] = (0.04, 0.09, -0.02),
) -> LifeFit:
    return LifeFit(
        distribution=distribution,
        location=location,
        spread=spread,
        log_likelihood=-50.0,
        covariance=FitCovariance(
            location_variance=variances[0],
            log_spread_variance=variances[1],
            covariance=variances[2],
        ),
        unit_count=20,
        failure_count=6,
        iteration_count=5,
        score_size=0.0,
    )


def error_of(quantity: Callable[[float, float], float], fit: LifeFit) -> float:
    """Standard error of a function of (location, ln spread) by central differences."""
    at, step = (fit.location, math.log(fit.spread)), 1e-5
    slopes = np.array(
        [
            (quantity(at[0] + step, at[1]) - quantity(at[0] - step, at[1])) / (2 * step),
            (quantity(at[0], at[1] + step) - quantity(at[0], at[1] - step)) / (2 * step),
        ]
    )
    v = fit.covariance
    matrix = np.array([[v.location_variance, v.covariance], [v.covariance, v.log_spread_variance]])
    return float(np.sqrt(slopes @ matrix @ slopes))


@pytest.mark.parametrize(
    ("distribution", "form"), [("WEIBULL", stats.gumbel_l), ("LOGNORMAL", stats.norm)]
)
def test_limits_are_those_of_the_delta_method(distribution: str, form: stats.rv_continuous) -> None:
    fit = fit_with(distribution)
    found = fisher_limits(fit, confidence=0.95, at_cycles=[40_000], fractions=[0.1])
    w, y = float(form.ppf(0.1)), math.log(40_000)

    life = fit.location + fit.spread * w
    reach = Z * error_of(lambda m, s: m + math.exp(s) * w, fit)
    assert found.b_lives[0].lower_cycles == pytest.approx(math.exp(life - reach), rel=1e-8)
    assert found.b_lives[0].upper_cycles == pytest.approx(math.exp(life + reach), rel=1e-8)

    standard = (y - fit.location) / fit.spread
    reach = Z * error_of(lambda m, s: (y - m) / math.exp(s), fit)
    assert found.reliability[0].estimate == pytest.approx(float(form.sf(standard)))
    assert found.reliability[0].lower == pytest.approx(float(form.sf(standard + reach)), rel=1e-8)
    assert found.reliability[0].upper == pytest.approx(float(form.sf(standard - reach)), rel=1e-8)

    assert found.shape.lower == pytest.approx(2.5 * math.exp(-Z * 0.3))
    assert found.spread.upper == pytest.approx(0.4 * math.exp(Z * 0.3))
    assert found.scale_cycles.upper == pytest.approx(math.exp(11.0 + Z * 0.2))
    assert found.location.lower == pytest.approx(11.0 - Z * 0.2)


def test_the_exponential_has_the_scale_over_the_root_of_the_failures() -> None:
    lives = lives_with_run_outs([41_000, 52_000, 60_000], [True, True, False], counts=[1, 1, 10])
    fit = life_fit(lives, "EXPONENTIAL")
    assert isinstance(fit, LifeFit)
    found = fisher_limits(fit, confidence=0.95, at_cycles=[30_000], fractions=[0.1])
    scale = (41_000 + 52_000 + 600_000) / 2
    lower = scale * math.exp(-Z / math.sqrt(2))
    assert found.scale_cycles.lower == pytest.approx(lower)
    assert found.reliability[0].lower == pytest.approx(math.exp(-30_000 / lower))
    assert found.shape.upper == NotEstimable(reason="SHAPE_NOT_FITTED")


def test_a_limit_beyond_all_numbers_is_said_not_to_exist() -> None:
    fit = fit_with(location=600.0, variances=(1e4, 0.1, 0.0))
    found = fisher_limits(fit, confidence=0.95, at_cycles=[], fractions=[0.5])
    no_limit = NotEstimable(reason="NO_FINITE_LIMIT")
    assert found.scale_cycles.upper == no_limit == found.b_lives[0].upper_cycles
    assert isinstance(found.scale_cycles.lower, float)


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0.55, 0.98),
    st.floats(0.0, 0.95),
    st.sampled_from(["WEIBULL", "LOGNORMAL"]),
    st.floats(1.0, 1e6),
)
def test_limits_hold_the_estimate_and_widen_with_the_confidence(
    confidence: float, correlation: float, distribution: str, at: float
) -> None:
    fit = fit_with(distribution, variances=(0.04, 0.09, 0.06 * correlation))
    narrow = fisher_limits(fit, confidence=confidence, at_cycles=[at], fractions=[0.1])
    wide = fisher_limits(fit, confidence=confidence + 0.01, at_cycles=[at], fractions=[0.1])
    inner, outer = narrow.reliability[0], wide.reliability[0]
    assert outer.lower <= inner.lower <= inner.estimate <= inner.upper <= outer.upper  # type: ignore[operator]
    life, other = narrow.b_lives[0], wide.b_lives[0]
    assert other.lower_cycles < life.lower_cycles < life.estimate_cycles < life.upper_cycles  # type: ignore[operator]


@pytest.mark.parametrize("wrong", [{"confidence": 1.0}, {"at_cycles": [0.0]}, {"fractions": [0.0]}])
def test_an_argument_out_of_range_is_refused(wrong: dict[str, Any]) -> None:
    asked = {"confidence": 0.9, "at_cycles": [1.0], "fractions": [0.1], **wrong}
    with pytest.raises(OutsideDomainError, match=next(iter(wrong))):
        fisher_limits(fit_with(), **asked)  # type: ignore[arg-type]
