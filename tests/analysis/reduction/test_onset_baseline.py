"""The baseline of a station: level, effect of temperature, and what is not taken for one."""

import numpy as np
import pytest
from blocks_by_hand import RULES, stretch_of
from msgspec import structs

from analysis.reduction.onset_baseline import baseline_of, excess_over
from analysis.reduction.onset_blocks import blocks_to_read
from schemas.onsets import OnsetBaseline

RNG = np.random.default_rng(3)
DEGREES = 45 + 4 * np.sin(np.arange(200) / 9)
NOISE = 0.0015 * RNG.standard_normal(200)


def baseline_from(decay: np.ndarray, degrees: np.ndarray | None) -> OnsetBaseline:
    blocks = blocks_to_read([stretch_of(decay, temperature_c=degrees)], RULES)
    return baseline_of(blocks, np.arange(decay.size), dead_band_mpa=0.015)


def test_the_effect_of_temperature_is_fitted_and_taken_off() -> None:
    found = baseline_from(0.06 + 0.002 * (DEGREES - 45) + NOISE, DEGREES)
    # Standard error of the slope: 0.0015 / (2.8 * sqrt(200)) = 4e-5.
    assert found.decay_per_degree_mpa == pytest.approx(0.002, abs=1.6e-4)
    level = found.pressure_decay_mpa + found.decay_per_degree_mpa * (45 - found.fluid_temperature_c)
    assert level == pytest.approx(0.06, abs=5e-4)
    assert (found.first_counted, found.last_counted) == (1, 20_000)


def test_the_excess_is_what_neither_level_nor_temperature_explain() -> None:
    decay = 0.06 + 0.002 * (DEGREES - 45) + NOISE
    found = baseline_from(decay, DEGREES)
    later = stretch_of(decay + 0.03, temperature_c=DEGREES)
    excess = excess_over(found, blocks_to_read([later], RULES), np.arange(200))
    assert np.mean(excess) == pytest.approx(0.03, abs=5e-4)
    assert np.std(excess) == pytest.approx(0.0015, rel=0.15)


@pytest.mark.parametrize(
    "degrees",
    [None, np.full(200, 45.0), np.full(200, np.nan), 45 + 0.05 * np.sin(np.arange(200))],
    ids=["not recorded", "the same", "nan", "hardly different"],
)
def test_without_a_spread_of_temperature_no_effect_is_taken(degrees: np.ndarray | None) -> None:
    found = baseline_from(0.06 + NOISE, degrees)
    assert found.decay_per_degree_mpa == 0
    assert found.pressure_decay_mpa == pytest.approx(np.median(0.06 + NOISE))


def test_temperature_that_has_no_effect_gets_none() -> None:
    assert baseline_from(0.06 + NOISE, DEGREES).decay_per_degree_mpa == 0


def test_a_leak_that_grows_while_the_oil_warms_up_is_not_taken_for_temperature() -> None:
    growing = 0.002 * np.maximum(np.arange(200) - 80, 0)
    found = baseline_from(0.06 + growing + NOISE, 40 + growing * 20)
    assert found.decay_per_degree_mpa == 0


def test_a_constant_offset_moves_the_level_and_nothing_else() -> None:
    decay = 0.06 + 0.002 * (DEGREES - 45) + NOISE
    found, moved = baseline_from(decay, DEGREES), baseline_from(decay + 0.25, DEGREES)
    assert moved.pressure_decay_mpa - found.pressure_decay_mpa == pytest.approx(0.25)
    same = structs.replace(moved, pressure_decay_mpa=0, decay_per_degree_mpa=0)
    assert same == structs.replace(found, pressure_decay_mpa=0, decay_per_degree_mpa=0)
    assert moved.decay_per_degree_mpa == pytest.approx(found.decay_per_degree_mpa, rel=1e-9)


def test_blocks_without_a_temperature_are_judged_without_its_effect() -> None:
    found = baseline_from(0.06 + 0.002 * (DEGREES - 45) + NOISE, DEGREES)
    blocks = blocks_to_read([stretch_of([0.1, 0.1], temperature_c=[np.nan, 45])], RULES)
    excess = excess_over(found, blocks, np.arange(2))
    assert excess[0] == pytest.approx(0.1 - found.pressure_decay_mpa)
