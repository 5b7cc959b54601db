"""What the decay of a sound unit on one station is, and how it follows temperature there."""

import numpy as np

from analysis.checks import FloatArray
from analysis.reduction.onset_blocks import Blocks, IntArray
from schemas.onsets import OnsetBaseline

FEWEST_TO_FIT = 20
LEAST_SPREAD_C = 0.3
LEAST_SIGNIFICANCE = 4.0
"""Temperature is corrected for when the baseline shows its effect: so many blocks at the least,
so wide a spread of their temperatures, and a slope of so many standard errors. An effect with
a spread above the dead band is not taken for one of temperature: more likely it is a leak."""


def excess_over(baseline: OnsetBaseline, blocks: Blocks, chosen: IntArray) -> FloatArray:
    """Decay over a baseline, MPa, of the blocks at the places `chosen`."""
    degrees = blocks.temperature_c[chosen] - baseline.fluid_temperature_c
    effect = baseline.decay_per_degree_mpa * np.where(np.isfinite(degrees), degrees, 0.0)
    return np.asarray(blocks.decay_mpa[chosen] - baseline.pressure_decay_mpa - effect)


def baseline_of(blocks: Blocks, chosen: IntArray, *, dead_band_mpa: float) -> OnsetBaseline:
    """
    Baseline from the blocks chosen for it.

    Parameters
    ----------
    blocks : Blocks
        The unit's blocks.
    chosen : array of int
        Places of the baseline's blocks, one at the least.
    dead_band_mpa : float, > 0, keyword only
        Blocks further than this from the line are left out of the second fit, and no
        effect of temperature can be larger.

    Returns
    -------
    OnsetBaseline
        The median of the blocks, after the effect of temperature is taken off.

    Notes
    -----
    The effect of temperature is a least-squares slope, fitted twice so that a few
    blocks far from the line do not tilt it. Where the temperatures of the baseline hardly
    differ the slope says nothing and 0 is taken.
    """
    decay, degrees = blocks.decay_mpa[chosen], blocks.temperature_c[chosen]
    known = np.isfinite(degrees)
    reference = float(np.median(degrees[known])) if known.any() else 0.0
    degrees = np.where(known, degrees - reference, 0.0)
    slope = _slope(degrees[known], decay[known], dead_band_mpa)
    rest = decay - slope * degrees
    near = known & (np.abs(rest - np.median(rest)) <= dead_band_mpa)
    slope = _slope(degrees[near], decay[near], dead_band_mpa)
    return OnsetBaseline(
        pressure_decay_mpa=float(np.median(decay - slope * degrees)),
        fluid_temperature_c=reference,
        decay_per_degree_mpa=slope,
        first_counted=int(blocks.first_counted[chosen[0]]),
        last_counted=int(blocks.last_counted[chosen[-1]]),
    )


def _slope(degrees: FloatArray, decay: FloatArray, dead_band_mpa: float) -> float:
    """Least-squares slope, MPa per degC, or 0 where the blocks do not show one."""
    if degrees.size < FEWEST_TO_FIT or np.std(degrees) < LEAST_SPREAD_C:
        return 0.0
    off, over = degrees - degrees.mean(), decay - decay.mean()
    weight = float(off @ off)
    slope = float(off @ over) / weight
    rest = over - slope * off
    error = np.sqrt(float(rest @ rest) / (degrees.size - 2) / weight)
    effect = abs(slope) * float(np.std(degrees))
    shows = abs(slope) >= LEAST_SIGNIFICANCE * error and effect <= dead_band_mpa
    return slope if shows else 0.0
