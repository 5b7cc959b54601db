"""Blocks of pressure decay written by hand: 100 counted cycles each, one after another."""

from typing import Any

import numpy as np
from msgspec import structs
from numpy.typing import ArrayLike
from reduction_builders import spec, stretch

from analysis.checks import FloatArray
from analysis.reduction.onset_blocks import OnsetRules, StretchBlocks
from schemas.blocks import BlockFigures
from schemas.specs import Spec

RULES = OnsetRules(
    block_cycles=100,
    break_in_blocks=2,
    baseline_blocks=30,
    masked_cycles=300,
    dead_band_mpa=0.015,
    alarm_mpa=0.05,
    station_step_mpa=0.01,
    sensor_step_mpa=0.004,
)
"""Rules of the scenario but for a short baseline: blocks 2 to 32."""


def stretch_of(
    decay_mpa: ArrayLike,
    *,
    counted_before: int = 0,
    place: str = "RIG-A/1",
    since_start: int = 1_000,
    temperature_c: ArrayLike | None = None,
) -> StretchBlocks:
    """A stretch of whole blocks; the first one begins `since_start` cycles after the start."""
    decay = np.asarray(decay_mpa, dtype=float)
    before = 100 * np.arange(decay.size)
    return StretchBlocks(
        place=place,
        first_counted=counted_before + before + 1,
        last_counted=counted_before + before + 100,
        cycles=np.full(decay.size, 100),
        cycles_since_start=since_start + before,
        decay_mpa=decay,
        temperature_c=None if temperature_c is None else np.asarray(temperature_c, dtype=float),
    )


def ramp(
    blocks: int, *, onset: float, growth_mpa_per_1000: float, noise: float = 0.0, seed: int = 0
) -> FloatArray:
    """Decay of 0.06 MPa, block by block, that grows from the counted cycle `onset` on."""
    middle = 100 * np.arange(blocks) + 50.5
    chance = noise * np.random.default_rng(seed).standard_normal(blocks)
    growth = growth_mpa_per_1000 / 1_000 * np.maximum(middle - onset, 0.0)
    return np.asarray(0.06 + growth + chance)


def figures_of(
    decay_mpa: ArrayLike, *, first_cycle_in_run: int = 1, missing: dict[int, int] | None = None
) -> BlockFigures:
    """
    Whole blocks of a lap in which every cycle counts.

    `missing` counters lack before, or in, the block of that number.
    """
    decay = np.asarray(decay_mpa, dtype=float)
    lacking = [(missing or {}).get(number, 0) for number in range(decay.size)]
    ends = first_cycle_in_run - 1 + np.cumsum([100 + each for each in lacking])
    return BlockFigures(
        block_cycles=100,
        counted_cycles=[100] * decay.size,
        missing_cycles=lacking,
        first_cycle_in_run=[int(end) - 99 for end in ends],
        last_cycle_in_run=[int(end) for end in ends],
        decays=[100] * decay.size,
        pressure_decay_mpa=[float(each) for each in decay],
        fluid_temperature_c=[45.0] * decay.size,
        sensor_id=[None] * decay.size,
    )


def run_of(decay_mpa: ArrayLike, *, missing: dict[int, int] | None = None, **changes: Any) -> Any:
    """One stretch of whole blocks of counted cycles, with its blocks."""
    figures = figures_of(decay_mpa, missing=missing)
    changes = {"missing": sum((missing or {}).values()), **changes}
    return structs.replace(stretch(100 * len(figures.decays), **changes), blocks=figures)


def onset_spec(*modes: dict[str, Any], fails: bool, **changes: Any) -> Spec:
    """The cylinder's specification with the search of `RULES`."""
    onset = {
        "block_cycles": 100,
        "baseline_blocks": [2, 32],
        "mask_after_start_cycles": 300,
        "dead_band_mpa": 0.015,
        "alarm_mpa": 0.05,
        "station_step_mpa": 0.01,
        "sensor_step_mpa": 0.004,
    }
    failure = changes.pop("failure", {}) | {"onset_is_failure": fails}
    return spec(*modes, failure=failure, reduction={"onset": onset}, **changes)
