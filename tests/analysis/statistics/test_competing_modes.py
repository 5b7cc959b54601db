"""Failure modes side by side: against single fits, root finding by scipy, and refusals."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from analysis.errors import OutsideDomainError
from analysis.statistics.competing_modes import ModeLives, competing_modes, mode_lives
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import lives_with_run_outs
from schemas.estimates import NotEstimable
from schemas.fits import LifeFit
from schemas.populations import CompetingModes

INF = math.inf
LIVES = mode_lives(
    [90_000, 130_000, 160_000, 140_000, 180_000, 200_000],
    [90_000, 130_000, 160_000, 140_000, 180_000, INF],
    ["SEAL", "SEAL", "SEAL", "CRACK", "CRACK", None],
    counts=[1, 1, 1, 1, 1, 7],
)


def answer_of(lives: ModeLives, **wanted: list[float]) -> CompetingModes:
    modes = competing_modes(lives, **wanted)
    assert isinstance(modes, CompetingModes)
    return modes


def number(value: float | NotEstimable) -> float:
    assert isinstance(value, float)
    return value


def test_each_mode_is_fitted_with_the_other_modes_failures_as_run_outs() -> None:
    lives = [90_000, 130_000, 160_000, 140_000, 180_000, 200_000]
    counts = [1, 1, 1, 1, 1, 7]
    seal = lives_with_run_outs(lives, [True] * 3 + [False] * 3, counts=counts)
    crack = lives_with_run_outs(lives, [False] * 3 + [True] * 2 + [False], counts=counts)
    modes = answer_of(LIVES).modes
    assert [(mode.mode, mode.failure_count) for mode in modes] == [("SEAL", 3), ("CRACK", 2)]
    assert [mode.fit for mode in modes] == [life_fit(lot, "WEIBULL") for lot in (seal, crack)]


def test_the_reliability_is_the_product_over_the_modes() -> None:
    modes = answer_of(LIVES, at_cycles=[0.0, 50_000.0, 100_000.0, 1e9])
    fits = [mode.fit for mode in modes.modes if isinstance(mode.fit, LifeFit)]
    for point in modes.reliability:
        product = math.prod(
            math.exp(-((point.at_cycles / fit.scale_cycles) ** fit.shape)) for fit in fits
        )
        assert number(point.reliability) == pytest.approx(product, rel=1e-10, abs=1e-300)
        assert point.upper_estimate == point.reliability


def test_a_b_life_is_where_scipy_finds_the_root() -> None:
    modes = answer_of(LIVES, fractions=[1e-9, 0.1, 0.5, 0.999])
    fits = [mode.fit for mode in modes.modes if isinstance(mode.fit, LifeFit)]
    for life in modes.b_lives:
        root = optimize.brentq(
            lambda log_cycles, p=life.fraction: (
                sum((math.exp(log_cycles) / fit.scale_cycles) ** fit.shape for fit in fits)
                + math.log1p(-p)
            ),
            -20.0,
            20.0,
            xtol=1e-13,
        )
        assert number(life.b_life_cycles) == pytest.approx(math.exp(root), rel=1e-10)


def test_one_mode_alone_is_the_plain_fit() -> None:
    lives = mode_lives([40, 60, 90], [40, 60, INF], ["SEAL", "SEAL", None], counts=[1, 1, 5])
    modes = answer_of(lives, fractions=[0.1])
    fit = life_fit(
        lives_with_run_outs([40, 60, 90], [1 > 0] * 2 + [False], counts=[1, 1, 5]), "WEIBULL"
    )
    assert isinstance(fit, LifeFit)
    expected = fit.scale_cycles * (-math.log(0.9)) ** (1 / fit.shape)
    assert number(modes.b_lives[0].b_life_cycles) == pytest.approx(expected, rel=1e-12)


def test_a_single_failure_of_a_mode_below_longer_lives_is_estimable() -> None:
    lives = mode_lives([40, 60, 90], [40, 60, INF], ["SEAL", "CRACK", None], counts=[1, 1, 5])
    assert all(isinstance(mode.fit, LifeFit) for mode in answer_of(lives).modes)
    assert "FEW_FAILURES" in answer_of(lives).notes


def test_without_a_mode_that_has_no_fit_nothing_is_called_the_reliability() -> None:
    lives = mode_lives(
        [40, 60, 90, 90], [40, 60, 90, INF], ["SEAL", "SEAL", "CRACK", None], counts=[1, 1, 1, 5]
    )
    modes = answer_of(lives, at_cycles=[50.0], fractions=[0.1])
    assert modes.modes_missing == ("CRACK",)
    assert "MODES_MISSING" in modes.notes
    missing = NotEstimable(reason="MODE_NOT_ESTIMABLE")
    assert modes.reliability[0].reliability == missing
    assert modes.b_lives[0].b_life_cycles == missing
    seal = modes.modes[0].fit
    assert isinstance(seal, LifeFit)
    assert modes.reliability[0].upper_estimate == pytest.approx(
        math.exp(-((50.0 / seal.scale_cycles) ** seal.shape)), rel=1e-12
    )
    assert modes.modes[1].fit == NotEstimable(reason="FAILURES_ONLY_AT_LONGEST_LIFE")


@pytest.mark.parametrize(
    ("lives", "reason"),
    [
        (mode_lives([90], [INF], [None], counts=[8]), "NO_FAILURES"),
        (mode_lives([90, 90], [90, INF], ["SEAL", None]), "MODE_NOT_ESTIMABLE"),
    ],
)
def test_lots_without_any_mode_to_fit_are_refused(lives: ModeLives, reason: str) -> None:
    assert competing_modes(lives) == NotEstimable(reason=reason)


def test_a_bracketed_failure_is_whole_up_to_its_low_end_for_the_other_modes() -> None:
    lives = mode_lives([30, 50, 90], [45, 50, INF], ["LEAK", "CRACK", None], counts=[2, 1, 6])
    modes = answer_of(lives)
    crack = lives_with_run_outs([30, 50, 90], [False, True, False], counts=[2, 1, 6])
    assert modes.modes[1].fit == life_fit(crack, "WEIBULL")
    assert "BRACKETS_APPROXIMATE" in modes.notes


@pytest.mark.parametrize(
    "modes", [["SEAL"], ["SEAL", "CRACK"], [None, None], ["", None], [None, "SEAL"]]
)
def test_modes_that_do_not_match_the_lives_are_refused(modes: list[str | None]) -> None:
    with pytest.raises(OutsideDomainError):
        mode_lives([40, 90], [40, INF], modes)


@pytest.mark.parametrize("wanted", [{"at_cycles": [-1.0]}, {"fractions": [0.0]}])
def test_a_count_or_fraction_outside_its_range_is_refused(wanted: dict[str, list[float]]) -> None:
    with pytest.raises(OutsideDomainError):
        competing_modes(LIVES, **wanted)


def test_a_life_too_long_for_a_number_is_not_estimable() -> None:
    lives = mode_lives([1e-280, 1.0, 1e280], [1e-280, 1.0, INF], ["SEAL", "SEAL", None])
    life = answer_of(lives, fractions=[1 - 1e-12]).b_lives[0]
    assert life.b_life_cycles == NotEstimable(reason="SCALE_NOT_REPRESENTABLE")


@given(st.floats(0.01, 0.98), st.floats(1e-2, 1e5))
@settings(max_examples=30, deadline=None)
def test_lives_scale_with_cycles_and_the_way_back_leads_to_the_fraction(
    fraction: float, factor: float
) -> None:
    scaled = ModeLives(
        low_cycles=factor * LIVES.low_cycles,
        high_cycles=factor * LIVES.high_cycles,
        counts=LIVES.counts,
        modes=LIVES.modes,
    )
    plain = number(answer_of(LIVES, fractions=[fraction]).b_lives[0].b_life_cycles)
    at = number(answer_of(scaled, fractions=[fraction]).b_lives[0].b_life_cycles)
    assert at == pytest.approx(factor * plain, rel=1e-8)
    reliability = number(answer_of(scaled, at_cycles=[at]).reliability[0].reliability)
    assert reliability == pytest.approx(1 - fraction, rel=1e-10)


def test_two_independent_modes_are_found_again_in_a_large_lot() -> None:
    rng = np.random.default_rng(12)
    seal, crack = 100 * rng.weibull(2.0, 4000), 120 * rng.weibull(4.0, 4000)
    lives = np.minimum(np.minimum(seal, crack), 110)
    modes = np.where(lives == seal, "SEAL", np.where(lives == crack, "CRACK", ""))
    answer = answer_of(
        mode_lives(lives, np.where(modes == "", INF, lives), [m or None for m in modes.tolist()]),
        at_cycles=[50.0],
    )
    shapes = {mode.mode: mode.fit.shape for mode in answer.modes if isinstance(mode.fit, LifeFit)}
    assert shapes["SEAL"] == pytest.approx(2.0, rel=0.08)
    assert shapes["CRACK"] == pytest.approx(4.0, rel=0.08)
    assert number(answer.reliability[0].reliability) == pytest.approx(
        math.exp(-(0.5**2) - (50 / 120) ** 4), abs=0.02
    )
