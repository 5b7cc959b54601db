"""Blocks of pressure decay written by hand: 100 counted cycles each, one after another."""

import numpy as np
from numpy.typing import ArrayLike

from analysis.checks import FloatArray
from analysis.reduction.onset_blocks import OnsetRules, StretchBlocks

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
