"""References: single fits to units drawn one by one, binomial counts, survival by hand."""

import math
from typing import Any

import numpy as np
import pytest
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.bootstrap import Resampling, bootstrap_limits, stop_distribution
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.weibull import weibull_fit
from schemas.estimates import NotEstimable, WeibullFit
from schemas.fit_limits import BootstrapLimits

KINDS = ["PARAMETRIC", "NON_PARAMETRIC"]
LIVES = np.array([41_000.0, 47_000, 52_000, 55_000, 59_000, *[60_000] * 9])
FAILED = np.arange(14) < 5
LOT = lives_with_run_outs(LIVES, FAILED)
RARE = lives_with_run_outs([41_000, 52_000, *[60_000] * 10], [True, True, *[False] * 10])
TOO_MANY = NotEstimable(reason="TOO_MANY_RESAMPLES_WITHOUT_MAXIMUM")


def resample(
    records: LifeRecords,
    kind: Any,
    *,
    count: int = 2_000,
    seed: int = 1,
    confidence: float = 0.9,
    fractions: Any = (0.1,),
) -> BootstrapLimits:
    found = bootstrap_limits(
        records,
        Resampling(kind=kind, resample_count=count, rng=np.random.default_rng(seed)),
        confidence=confidence,
        at_cycles=[45_000],
        fractions=fractions,
    )
    assert isinstance(found, BootstrapLimits)
    return found


def loop(draw: Any, count: int) -> tuple[np.ndarray, float]:
    """B10 lives of single fits, sorted, and the share that had none."""
    lives = []
    for _ in range(count):
        fit = weibull_fit(*draw())
        if isinstance(fit, WeibullFit):
            lives.append(fit.b_life_cycles(0.1))
    return np.sort(lives), 1.0 - len(lives) / count


def one_by_one(kind: str, rng: np.random.Generator) -> Any:
    fit = weibull_fit(LIVES, FAILED)
    assert isinstance(fit, WeibullFit)

    def units() -> tuple[np.ndarray, np.ndarray]:
        chosen = rng.integers(0, LIVES.size, LIVES.size)
        return LIVES[chosen], FAILED[chosen]

    def lives() -> tuple[np.ndarray, np.ndarray]:
        drawn = fit.scale_cycles * rng.weibull(fit.shape, LIVES.size)
        return np.minimum(drawn, 60_000), drawn < 60_000

    return lives if kind == "PARAMETRIC" else units


@pytest.mark.parametrize("kind", KINDS)
def test_limits_are_those_of_a_loop_of_single_fits(kind: str) -> None:
    count = 2_500
    values, without = loop(one_by_one(kind, np.random.default_rng(5)), count)
    found = resample(LOT, kind, count=count)
    # Two samples: the rank of our limit in theirs is off by their binomial errors only.
    for limit, share in (
        (found.b_lives[0].lower_cycles, 0.1),
        (found.b_lives[0].upper_cycles, 0.9),
    ):
        rank = np.searchsorted(values, limit) / values.size
        assert rank == pytest.approx(share, abs=4.5 * math.sqrt(2 * 0.09 / count) + without)
    assert found.without_maximum_share == pytest.approx(without, abs=0.01)


def test_the_same_generator_gives_the_same_limits() -> None:
    for kind in KINDS:
        assert resample(LOT, kind, seed=3) == resample(LOT, kind, seed=3)
        assert resample(LOT, kind, seed=3) != resample(LOT, kind, seed=4)


def test_lots_drawn_without_a_failure_are_counted() -> None:
    expected = {
        "NON_PARAMETRIC": (10 / 12) ** 12,
        "PARAMETRIC": math.exp(
            -12 * (60_000 / 90_938.490360) ** 4.0496475349  # fitted scale and shape of RARE
        ),
    }
    for kind, share in expected.items():
        found = resample(RARE, kind, count=20_000)
        error = math.sqrt(share * (1 - share) / 20_000)
        assert found.without_maximum_share == pytest.approx(share, abs=4.5 * error)
        assert found.without_maximum_count == round(20_000 * found.without_maximum_share)


def test_each_lot_without_a_fit_counts_against_both_limits() -> None:
    found = resample(RARE, "PARAMETRIC", count=999, confidence=0.8)
    without = found.without_maximum_count
    assert without > 0
    # Rank 200 of all 999 is rank 200 - without of the others, at both ends: the same draws
    # one by one, as the rows of one generator.
    fit = weibull_fit([41_000, 52_000, 60_000], [True, True, False], counts=[1, 1, 10])
    assert isinstance(fit, WeibullFit)
    exponentials = np.random.default_rng(1).standard_exponential((999, 12))
    lives = fit.scale_cycles * exponentials ** (1.0 / fit.shape)
    shapes = sorted(
        each.shape
        for row in lives
        if isinstance(each := weibull_fit(np.minimum(row, 60_000), row < 60_000), WeibullFit)
    )
    assert len(shapes) == 999 - without
    assert found.shape.lower == pytest.approx(shapes[200 - without - 1], rel=1e-9)
    assert found.shape.upper == pytest.approx(shapes[-(200 - without)], rel=1e-9)


def test_where_they_are_too_many_there_is_no_limit() -> None:
    found = resample(RARE, "NON_PARAMETRIC", count=999, confidence=0.9)
    assert found.scale_cycles.lower == found.scale_cycles.upper == TOO_MANY
    assert found.shape.lower == found.reliability[0].upper == TOO_MANY
    assert found.b_lives[0].lower_cycles == TOO_MANY
    assert isinstance(found.b_lives[0].estimate_cycles, float)


def test_with_as_few_resamples_as_can_be_the_limits_are_the_outermost() -> None:
    found = resample(LOT, "PARAMETRIC", count=9, confidence=0.9)
    everything = resample(LOT, "PARAMETRIC", count=9, confidence=0.89)
    assert found.shape == everything.shape  # rank 1 of 9 either way
    middle = resample(LOT, "PARAMETRIC", count=9, confidence=0.5)
    assert middle.shape.lower == middle.shape.upper  # rank 5 of 9 from both ends
    with pytest.raises(OutsideDomainError, match="at least 9"):
        resample(LOT, "PARAMETRIC", count=8, confidence=0.9)


def test_limits_move_with_the_scale_of_the_cycles() -> None:
    ten_times = lives_with_run_outs(10 * LIVES, FAILED)
    for kind in KINDS:
        small, large = resample(LOT, kind), resample(ten_times, kind)
        assert large.scale_cycles.lower == pytest.approx(10 * small.scale_cycles.lower)  # type: ignore[operator]
        assert large.shape.upper == pytest.approx(small.shape.upper)


def test_limits_of_complete_lots_follow_a_pivot() -> None:
    # Complete lots: fitted shape over true shape has one distribution whatever the truth, so
    # two lots that differ in shape give the same ratios from the same generator.
    ratios = []
    for shape in (0.8, 3.0):
        lives = 1e4 * np.random.default_rng(2).weibull(shape, 9)
        found = resample(lives_with_run_outs(lives, [True] * 9), "PARAMETRIC")
        ratios.append(found.shape.lower / found.shape.estimate)  # type: ignore[operator]
    assert ratios[0] == pytest.approx(ratios[1], rel=1e-9)


def test_stops_of_mixed_lots_are_the_product_limit_by_hand() -> None:
    # Stops at 20 (1 of 6 at risk), 40 (2 of 3, the failure at 40 comes first), none after 50.
    lot = lives_with_run_outs([20, 30, 40, 40, 40, 50], [False, True, True, False, False, True])
    stops, shares = stop_distribution(lot)
    assert stops.tolist() == [20.0, 40.0]
    assert shares == pytest.approx([1 / 6, 1 - 5 / 6 * 1 / 3])


def test_a_failed_units_stop_lies_at_or_beyond_its_failure() -> None:
    # 30 units of one failing each: seen through the share of resamples stopped everywhere.
    lot = lives_with_run_outs([50, 60, 70], [True, False, False], counts=[1, 40, 40])
    found = resample(lot, "PARAMETRIC", count=4_000)
    fit = weibull_fit([50, 60, 70], [True, False, False], counts=[1, 40, 40])
    assert isinstance(fit, WeibullFit)
    # The unit that failed is stopped at 60 or 70 with one half each.
    lasts = 40 * math.log(fit.reliability(60)) + 40 * math.log(fit.reliability(70))
    none = math.exp(lasts) * 0.5 * (fit.reliability(60) + fit.reliability(70))
    assert found.without_maximum_share == pytest.approx(
        none, abs=4.5 * math.sqrt(none * (1 - none) / 4_000)
    )


def test_without_resampling_error_the_exponential_case_has_its_gamma_limits() -> None:
    # One failure-free check of the draw: log of mean scale over complete lots of 400 units.
    lives = stats.weibull_min.ppf((np.arange(400) + 0.5) / 400, 2.0, scale=1e4)
    found = resample(lives_with_run_outs(lives, [True] * 400), "PARAMETRIC", fractions=())
    # Large-sample standard error of ln scale: 1.053 / (shape sqrt(n)) (Bain, from memory).
    reach = 1.2816 * 1.053 / (2.0 * math.sqrt(400))
    assert math.log(found.scale_cycles.upper / found.scale_cycles.lower) == pytest.approx(  # type: ignore[operator]
        2 * reach, rel=0.1
    )


def test_lots_it_cannot_resample_are_answered_with_the_reason() -> None:
    brackets = life_records([30, 60], [40, math.inf], counts=[2, 8])
    for records, reason in (
        (brackets, "BRACKETED_LIVES"),
        (lives_with_run_outs([60, 60], [False, False]), "NO_FAILURES"),
    ):
        assert bootstrap_limits(
            records,
            Resampling(kind="PARAMETRIC", resample_count=99, rng=np.random.default_rng(1)),
            confidence=0.9,
            at_cycles=[],
            fractions=[],
        ) == NotEstimable(reason=reason)
