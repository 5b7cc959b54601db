"""Lots on which general fitters fail: no less likely than scipy's answer, and without slope."""

import math

import numpy as np
import pytest
from hard_life_lots import WITHOUT_MAXIMUM, LifeLot, draw_hard_lots
from scipy import stats

from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import lives_with_run_outs
from analysis.statistics.weibull import weibull_fit
from schemas.estimates import NotEstimable, WeibullFit
from schemas.fits import LifeFit

LOTS = draw_hard_lots(3, seed=11)
EACH = [
    pytest.param(lot, id=f"{name}, lot {number}")
    for name, lots in LOTS.items()
    for number, lot in enumerate(lots)
]


def log_likelihood(lot: LifeLot, scale: float, shape: float) -> float:
    """Density of each failure, survival of each other unit, added without rounding error."""
    law = stats.weibull_min(shape, scale=scale)
    return math.fsum(np.where(lot.failed, law.logpdf(lot.lives), law.logsf(lot.lives)))


def slopes_per_failure(lot: LifeLot, scale: float, shape: float) -> tuple[float, float]:
    """Derivatives by ln scale, in spreads, and by ln shape, every sum by math.fsum."""
    z = [shape * math.log(life / scale) for life in lot.lives.tolist()]
    failed = lot.failed.tolist()
    count = sum(failed)
    by_scale = math.fsum(math.exp(x) for x in z) - count
    by_shape = count + math.fsum(
        (x if f else 0.0) - x * math.exp(x) for x, f in zip(z, failed, strict=True)
    )
    return by_scale / count, by_shape / count


@pytest.mark.parametrize("lot", EACH)
def test_the_fit_has_no_slope_and_both_ways_to_it_agree(lot: LifeLot) -> None:
    fit = weibull_fit(lot.lives, lot.failed)
    assert isinstance(fit, WeibullFit)
    for slope in slopes_per_failure(lot, fit.scale_cycles, fit.shape):
        assert abs(slope) < 1e-10
    other = life_fit(lives_with_run_outs(lot.lives, lot.failed), "WEIBULL")
    assert isinstance(other, LifeFit)
    assert other.shape == pytest.approx(fit.shape, rel=1e-12)
    assert other.location == pytest.approx(math.log(fit.scale_cycles), rel=1e-12)
    assert other.log_likelihood == pytest.approx(fit.log_likelihood, rel=1e-12)
    at_fit = log_likelihood(lot, fit.scale_cycles, fit.shape)
    assert fit.log_likelihood == pytest.approx(at_fit, rel=1e-11)


@pytest.mark.parametrize("lot", [lots[0] for lots in LOTS.values()], ids=list(LOTS))
def test_scipy_finds_no_more_likely_weibull(lot: LifeLot) -> None:
    fit = weibull_fit(lot.lives, lot.failed)
    assert isinstance(fit, WeibullFit)
    data = stats.CensoredData(lot.lives[lot.failed], right=lot.lives[~lot.failed])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    peer = log_likelihood(lot, scale, shape)
    assert log_likelihood(lot, fit.scale_cycles, fit.shape) >= peer - 1e-9 * abs(peer)


@pytest.mark.parametrize("lot", [lots[0] for lots in LOTS.values()], ids=list(LOTS))
def test_scipy_finds_no_more_likely_lognormal(lot: LifeLot) -> None:
    fit = life_fit(lives_with_run_outs(lot.lives, lot.failed), "LOGNORMAL")
    assert isinstance(fit, LifeFit) and fit.score_size < 1e-10
    data = stats.CensoredData(lot.lives[lot.failed], right=lot.lives[~lot.failed])
    spread, _, scale = stats.lognorm.fit(data, floc=0)
    ours, peer = (
        math.fsum(np.where(lot.failed, law.logpdf(lot.lives), law.logsf(lot.lives)))
        for law in (
            stats.lognorm(fit.spread, scale=fit.scale_cycles),
            stats.lognorm(spread, scale=scale),
        )
    )
    assert ours >= peer - 1e-9 * abs(peer)
    assert fit.log_likelihood == pytest.approx(ours, rel=1e-9)


@pytest.mark.parametrize("lot", WITHOUT_MAXIMUM.values(), ids=list(WITHOUT_MAXIMUM))
def test_where_the_likelihood_has_no_maximum_there_is_no_number(lot: LifeLot) -> None:
    expected = "FAILURES_ONLY_AT_LONGEST_LIFE" if lot.failed.any() else "NO_FAILURES"
    assert weibull_fit(lot.lives, lot.failed) == NotEstimable(reason=expected)
    records = lives_with_run_outs(lot.lives, lot.failed)
    for distribution in ("WEIBULL", "LOGNORMAL"):
        assert life_fit(records, distribution) == NotEstimable(reason=expected)
