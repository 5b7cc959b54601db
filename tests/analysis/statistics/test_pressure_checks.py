"""References: separate fits by the shape equation, a common shape by one-dimensional search."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import minimize_scalar

from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import LifeRecords, lives_with_run_outs
from analysis.statistics.pressure_checks import pressure_checks
from analysis.statistics.pressure_life import pressure_life_fit
from analysis.statistics.weibull import weibull_fit
from schemas.acceleration import LikelihoodRatio, PressureChecks, PressureLifeFit
from schemas.estimates import NotEstimable, WeibullFit

Group = tuple[list[float], list[bool]]
GROUPS: dict[float, Group] = {
    28.0: ([612e3, 830e3, 955e3, 1e6, 1e6, 1e6], [True] * 3 + [False] * 3),
    33.25: ([199.5e3, 287e3, 344e3, 460e3, 500e3], [True] * 4 + [False]),
    40.0: ([61e3, 74.5e3, 118e3, 131e3, 160e3, 170e3], [True] * 6),
}


def records(groups: dict[float, Group]) -> dict[float, LifeRecords]:
    return {pressure: lives_with_run_outs(*group) for pressure, group in groups.items()}


def value_with_shape(group: Group, log_shape: float) -> float:
    """Log-likelihood at the best scale for a shape: sum t**b / r to the power 1 / b."""
    lives, failed = np.array(group[0]), np.array(group[1])
    shape = math.exp(log_shape)
    scale = float(((lives / 1e5) ** shape).sum() / failed.sum()) ** (1 / shape) * 1e5
    life = stats.weibull_min(shape, scale=scale)
    return float(np.where(failed, life.logpdf(lives), life.logsf(lives)).sum())


def test_both_ratios_are_those_of_fits_made_another_way() -> None:
    checks = pressure_checks(records(GROUPS))
    assert isinstance(checks, PressureChecks)
    alone = [weibull_fit(*group) for group in GROUPS.values()]
    assert all(isinstance(each, WeibullFit) for each in alone)
    apart = sum(each.log_likelihood for each in alone if isinstance(each, WeibullFit))
    common = minimize_scalar(
        lambda log_shape: -sum(value_with_shape(group, log_shape) for group in GROUPS.values()),
        bracket=(0.0, 1.0),
        tol=1e-12,
    )
    assert checks.shape_in_common == pytest.approx(math.exp(common.x), rel=1e-6)
    ratio = checks.common_shape
    assert ratio.statistic == pytest.approx(2 * (apart + common.fun), abs=1e-8)
    assert ratio.p_value == pytest.approx(stats.chi2.sf(ratio.statistic, 2), rel=1e-12)
    assert [each.shape for each in checks.shapes] == pytest.approx(
        [each.shape for each in alone if isinstance(each, WeibullFit)], rel=1e-9
    )
    line = pressure_life_fit(records(GROUPS), measure="PEAK")
    assert isinstance(line, PressureLifeFit) and isinstance(checks.power_law, LikelihoodRatio)
    gain = -common.fun - line.log_likelihood
    assert checks.power_law.statistic == pytest.approx(2 * gain, abs=1e-8)
    assert checks.power_law.degrees_of_freedom == 1
    assert checks.few_failures and checks.left_out_mpa == ()


@given(st.floats(0.2, 5.0), st.integers(0, 2))
@settings(max_examples=25, deadline=None)
def test_one_pressure_of_another_shape_is_found_the_more_it_differs(power: float, at: int) -> None:
    pressure = sorted(GROUPS)[at]
    lives, failed = [*np.geomspace(1e5, 4e5, 12)], [True] * 12
    groups = {each: (lives, failed) for each in GROUPS}
    same = pressure_checks(records(groups))
    # Lives to a power have the shape divided by it.
    groups[pressure] = ([2e5 * (each / 2e5) ** (1 / power) for each in lives], failed)
    other = pressure_checks(records(groups))
    assert isinstance(same, PressureChecks) and isinstance(other, PressureChecks)
    assert same.common_shape.statistic == pytest.approx(0, abs=1e-8)
    assert other.common_shape.statistic >= same.common_shape.statistic
    if not 0.4 < power < 2.5:
        assert other.common_shape.p_value < 0.05
    assert not other.few_failures


def test_a_pressure_without_a_weibull_of_its_own_is_left_out_and_named() -> None:
    lots = records(GROUPS) | {
        20.0: lives_with_run_outs([1e6], [False]),
        22.0: lives_with_run_outs([1e6], [True]),
        24.0: lives_with_run_outs([], np.array([], dtype=bool)),
    }
    checks = pressure_checks(lots)
    assert isinstance(checks, PressureChecks)
    assert checks.left_out_mpa == (20.0, 22.0, 24.0)
    assert checks.common_shape == pressure_checks(records(GROUPS)).common_shape  # type: ignore[union-attr]


def test_two_pressures_fit_any_line_and_one_cannot_be_compared() -> None:
    two = pressure_checks(records({p: GROUPS[p] for p in (28.0, 40.0)}))
    assert isinstance(two, PressureChecks)
    assert two.power_law == NotEstimable(reason="TWO_PRESSURES_FIT_ANY_LINE")
    one = pressure_checks(records({28.0: GROUPS[28.0]}))
    assert one == NotEstimable(reason="FEWER_THAN_TWO_GROUPS")


def test_a_pressure_that_is_none_is_refused() -> None:
    with pytest.raises(OutsideDomainError, match="lives_at"):
        pressure_checks({0.0: lives_with_run_outs([5.0], [True])})
