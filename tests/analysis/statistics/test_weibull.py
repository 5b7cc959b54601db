"""References: a general minimiser on the plain likelihood, an exactly summed score, scipy.stats."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import brentq, minimize

from analysis.errors import OutsideDomainError
from analysis.statistics.weibull import weibull_fit
from schemas.estimates import NotEstimable, WeibullFit

# Two failures well apart and run-outs beyond: the ordinary lot of a rig.
LIVES = [41_000.0, 52_000.0, *[60_000.0] * 10]
FAILED = [True, True, *[False] * 10]


def fit(lives: Any, failed: Any, counts: Any = None) -> WeibullFit:
    result = weibull_fit(lives, failed, counts=counts)
    assert isinstance(result, WeibullFit)
    return result


def log_likelihood(lives: Any, failed: Any, scale: float, shape: float) -> float:
    """By the distribution's own density and survival, added without rounding error."""
    return math.fsum(
        stats.weibull_min.logpdf(life, shape, scale=scale)
        if did_fail
        else stats.weibull_min.logsf(life, shape, scale=scale)
        for life, did_fail in zip(lives, failed, strict=True)
    )


def exact_shape(lives: Any, failed: Any, counts: Any) -> float:
    """Root of the shape equation by bisection, every sum exact."""
    longest = max(lives)
    rows = [
        (math.log(life / longest), bool(f), c)
        for life, f, c in zip(lives, failed, counts, strict=True)
    ]
    failures = math.fsum(c for _, f, c in rows if f)
    mean_log = math.fsum(c * x for x, f, c in rows if f) / failures

    def score(shape: float) -> float:
        total = math.fsum(c * math.exp(shape * x) for x, _, c in rows)
        moment = math.fsum(c * x * math.exp(shape * x) for x, _, c in rows)
        return moment / total - 1 / shape - mean_log

    return float(brentq(score, 1e-4, 1e5, xtol=1e-14, rtol=1e-14))


@st.composite
def lots(draw: Any) -> tuple[list[float], list[bool]]:
    """Lots of 2 to 25 units, with ties and run-outs, that have an estimate."""
    lives = draw(st.lists(st.integers(1_000, 100_000), min_size=2, max_size=25))
    failed = draw(st.lists(st.booleans(), min_size=len(lives), max_size=len(lives)))
    failures = [life for life, did_fail in zip(lives, failed, strict=True) if did_fail]
    assume(bool(failures) and min(failures) < 0.98 * max(lives))
    return [float(life) for life in lives], failed


@given(lots())
def test_the_shape_is_the_root_of_the_exactly_summed_equation(
    lot: tuple[list[float], list[bool]],
) -> None:
    lives, failed = lot
    expected = exact_shape(lives, failed, [1] * len(lives))
    assert fit(lives, failed).shape == pytest.approx(expected, rel=1e-10)


@settings(max_examples=40)
@given(lots())
def test_no_neighbour_is_more_likely_and_the_likelihood_is_the_distributions(
    lot: tuple[list[float], list[bool]],
) -> None:
    lives, failed = lot
    result = fit(lives, failed)
    top = log_likelihood(lives, failed, result.scale_cycles, result.shape)
    assert result.log_likelihood == pytest.approx(top, rel=1e-9, abs=1e-9)
    for scale_factor, shape_factor in ((1.01, 1), (0.99, 1), (1, 1.01), (1, 0.99), (0.99, 1.01)):
        scale, shape = result.scale_cycles * scale_factor, result.shape * shape_factor
        assert log_likelihood(lives, failed, scale, shape) < top


def test_a_general_minimiser_ends_at_the_same_point() -> None:
    def loss(parameters: Any) -> float:
        return -log_likelihood(
            LIVES, FAILED, 60_000 * math.exp(parameters[0]), math.exp(parameters[1])
        )

    found = minimize(
        loss, [0.1, 0.5], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}
    )
    result = fit(LIVES, FAILED)
    assert result.scale_cycles == pytest.approx(60_000 * math.exp(found.x[0]), rel=1e-6)
    assert result.shape == pytest.approx(math.exp(found.x[1]), rel=1e-6)


def test_ten_failures_among_4_082_units_are_fitted() -> None:
    """
    Data set "electronics" of the library reliability 0.9.0: general fitters stop short.

    Expected: scale 6.19e21, shape 0.1537, log-likelihood -144.617, found by two calculations
    in project material; the shape also as the root of the exactly summed equation here.
    """
    failures = [1, 73, 123, 146, 179, 181, 191, 199, 216, 220]
    run_outs = {44_798: 817, 62_715: 823, 62_716: 804, 80_632: 813, 81_474: 815}
    lives = [*failures, *run_outs]
    failed = [True] * 10 + [False] * 5
    counts = [1] * 10 + list(run_outs.values())
    result = fit(lives, failed, counts)
    assert (result.unit_count, result.failure_count) == (4_082, 10)
    assert result.scale_cycles == pytest.approx(6.19e21, rel=1e-3)
    assert result.shape == pytest.approx(0.1537, abs=5e-5)
    assert result.log_likelihood == pytest.approx(-144.617, abs=5e-4)
    assert result.shape == pytest.approx(exact_shape(lives, failed, counts), rel=1e-12)
    expanded = fit(np.repeat(lives, counts), np.repeat(failed, counts))
    assert expanded.shape == pytest.approx(result.shape, rel=1e-12)
    assert expanded.log_likelihood == pytest.approx(result.log_likelihood, rel=1e-12)


def test_a_lot_on_which_a_library_stops_short_is_fitted() -> None:
    """Project material, confirmed by R: scale 208 086, shape 1.0031, log-likelihood -39.748."""
    result = fit([4_568, 49_576, 70_159] + [71_733] * 7, [True] * 3 + [False] * 7)
    assert round(result.scale_cycles) == 208_086
    assert round(result.shape, 4) == 1.0031
    assert round(result.log_likelihood, 3) == -39.748


@settings(max_examples=5)
@given(st.integers(0, 2**32 - 1), st.floats(0.5, 5.0))
def test_scipy_agrees_on_an_ordinary_lot(seed: int, shape: float) -> None:
    rng = np.random.default_rng(seed)
    lives = 1e5 * rng.weibull(shape, 30)
    stop = float(np.quantile(lives, 0.7))
    failed = lives < stop
    data = stats.CensoredData(lives[failed], right=np.full((~failed).sum(), stop))
    referee_shape, _, referee_scale = stats.weibull_min.fit(data, floc=0)
    result = fit(np.minimum(lives, stop), failed)
    referee = log_likelihood(np.minimum(lives, stop), failed, referee_scale, referee_shape)
    assert result.log_likelihood >= referee - 1e-9
    assert result.shape == pytest.approx(referee_shape, rel=1e-3)


@given(lots(), st.sampled_from([1e-6, 1e-3, 1e3, 1e9]))
def test_lives_in_another_unit_scale_the_scale_and_leave_the_shape(
    lot: tuple[list[float], list[bool]], factor: float
) -> None:
    lives, failed = lot
    once, scaled = fit(lives, failed), fit([life * factor for life in lives], failed)
    assert scaled.shape == pytest.approx(once.shape, rel=1e-9)
    assert scaled.scale_cycles == pytest.approx(once.scale_cycles * factor, rel=1e-9)


@given(lots(), st.randoms(use_true_random=False))
def test_order_folding_and_unstarted_units_change_no_estimate(
    lot: tuple[list[float], list[bool]], chance: Any
) -> None:
    rows = list(zip(*lot, strict=True))
    once = fit(*lot)
    chance.shuffle(rows)
    folded = {row: rows.count(row) for row in rows}
    lives, failed = zip(*folded, strict=True)
    again = fit([*lives, 0.0], [*failed, False], [*folded.values(), 3])
    assert again.shape == pytest.approx(once.shape, rel=1e-10)
    assert again.scale_cycles == pytest.approx(once.scale_cycles, rel=1e-10)
    assert again.log_likelihood == pytest.approx(once.log_likelihood, rel=1e-10)
    assert again.unit_count == once.unit_count + 3


@given(lots())
def test_few_steps_are_taken(lot: tuple[list[float], list[bool]]) -> None:
    assert fit(*lot).iteration_count <= 30


@pytest.mark.parametrize(
    ("lives", "failed"),
    [
        ([8e5, *[1e6] * 9], [True, *[False] * 9]),
        ([7e5, 7e5, 9e5, 9e5], [True, True, False, False]),
        ([5e5, math.nextafter(5e5, math.inf)], [True, False]),
        ([1.0, 1e12, 1e12], [True, True, False]),
    ],
)
def test_one_failure_or_tied_failures_below_a_longer_life_are_enough(
    lives: list[float], failed: list[bool]
) -> None:
    result = fit(lives, failed)
    assert math.isfinite(result.scale_cycles) and math.isfinite(result.shape)
    assert math.isfinite(result.log_likelihood)


@pytest.mark.parametrize(
    ("lives", "failed", "reason"),
    [
        ([], [], "NO_FAILURES"),
        ([1e6] * 10, [False] * 10, "NO_FAILURES"),
        ([0.0, 0.0], [False, False], "NO_FAILURES"),
        ([5e5], [True], "FAILURES_ONLY_AT_LONGEST_LIFE"),
        ([5e5] * 3, [True] * 3, "FAILURES_ONLY_AT_LONGEST_LIFE"),
        ([5e5, 5e5], [True, False], "FAILURES_ONLY_AT_LONGEST_LIFE"),
        ([4e5, 6e5, 9e5], [False, False, True], "FAILURES_ONLY_AT_LONGEST_LIFE"),
        ([0.0, 9e5, 9e5], [True, True, False], "FAILURE_AT_ZERO_CYCLES"),
    ],
)
def test_a_lot_without_an_estimate_gets_the_reason_not_a_number(
    lives: list[float], failed: list[bool], reason: str
) -> None:
    assert weibull_fit(lives, failed) == NotEstimable(reason=reason)


def test_a_scale_beyond_every_number_is_no_estimate() -> None:
    result = weibull_fit([1e-6, 1e6], [True, False], counts=[1, 10**15])
    assert result == NotEstimable(reason="SCALE_NOT_REPRESENTABLE")


def test_the_fit_answers_reliability_and_b_life() -> None:
    result = fit(LIVES, FAILED)
    assert result.reliability(0) == 1.0
    assert result.reliability(result.scale_cycles) == pytest.approx(math.exp(-1), rel=1e-14)
    assert result.reliability(result.b_life_cycles(0.1)) == pytest.approx(0.9, rel=1e-12)
    assert result.reliability(1e300) == 0.0
    for wrong in (-1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="cycles must be a finite number of 0 or more"):
            result.reliability(wrong)
    with pytest.raises(ValueError, match="fraction must be strictly between 0 and 1"):
        result.b_life_cycles(1.0)


@pytest.mark.parametrize(
    ("lives", "failed", "counts", "message"),
    [
        ([1.0, math.nan], [True, False], None, r"life_cycles\[1\] must be a finite number"),
        ([-1.0], [True], None, r"life_cycles\[0\] must be a finite number"),
        ([1.0, 2.0], [True], None, "failed must be a list of True and False"),
        ([1.0, 2.0], [1, 0], None, "failed must be a list of True and False"),
        ([1.0, 2.0], [True, False], [1], "counts must be a list of whole numbers"),
        ([1.0, 2.0], [True, False], [1, 0], r"counts\[1\] must be a whole number"),
    ],
)
def test_an_argument_outside_its_range_is_refused(
    lives: Any, failed: Any, counts: Any, message: str
) -> None:
    with pytest.raises(OutsideDomainError, match=message):
        weibull_fit(lives, failed, counts=counts)
