"""How a unit's leak grows: when it begins, how fast, and when it goes away for a while."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from service.demo.facts import Leak, UnitFacts
from service.demo.scenario import BASE_DECAY_MPA, DECAY_LIMIT_MPA, scaled

_OUTSIDE_LEAK_MPA_PER_1000 = 0.0004
"""A rod seal that leaks drops of fluid hardly shows as decay."""
_LATEST_BEGIN = 0.6
"""Largest share of a life over which decay grows."""
_SURE_END_CYCLES = 400


def leak_of(
    unit: UnitFacts,
    *,
    scale: float,
    seed: int,
    last_cycle: int,
    starts: Sequence[int],
) -> Leak:
    """
    The growth of a unit's decay.

    Parameters
    ----------
    unit : UnitFacts
        Its life is the cycle at which decay reaches the limit, or at which the rod seal
        begins to leak.
    scale : float, keyword only
        Length of the test.
    seed : int, keyword only
        Of the lot.
    last_cycle : int, keyword only
        Counted cycle up to which the leak may come and go: the failure, or the end.
    starts : sequence of int, keyword only
        Counted cycles at which runs begin and end.

    Returns
    -------
    Leak

    Notes
    -----
    A leak never goes or comes while the rig stands still, nor shortly before or after:
    it would look like another unit under the same number. It is there for the last
    cycles before the failure.
    """
    life = scaled(unit.life_cycles, scale)
    if unit.mode == "ROD_SEAL_LEAK":
        growth = _OUTSIDE_LEAK_MPA_PER_1000 / 1_000 / scale
        return Leak(onset_cycles=float(life), growth_mpa_per_cycle=growth)
    rise = DECAY_LIMIT_MPA - BASE_DECAY_MPA
    # Fast enough to begin after two fifths of the life.
    slowest = rise / (_LATEST_BEGIN * unit.life_cycles)
    growth = max(unit.growth_mpa_per_1000 / 1_000, slowest) / scale
    onset = life - rise / growth
    spells: tuple[tuple[int, int], ...] = ()
    if unit.comes_and_goes:
        rng = np.random.default_rng([seed, unit.unit_no, 3])
        last = last_cycle - round(_SURE_END_CYCLES * scale)
        spells = tuple(
            spell
            for spell in _off_spells(rng, onset, last, scale)
            if not _touches(spell, starts, 150 + round(350 * scale))
        )
    return Leak(onset_cycles=onset, growth_mpa_per_cycle=growth, off_spells=spells)


def _off_spells(
    rng: np.random.Generator, onset: float, last: float, scale: float
) -> list[tuple[int, int]]:
    """Times without a leak: it is there for some 2,300 cycles, then gone for some 1,700."""
    spells: list[tuple[int, int]] = []
    at = onset
    while True:
        begins = at + (300 + rng.exponential(2_000)) * scale
        at = begins + (200 + rng.exponential(1_500)) * scale
        if at > last:
            return spells
        spells.append((round(begins), round(at)))


def _touches(spell: tuple[int, int], starts: Sequence[int], margin: int) -> bool:
    return any(spell[0] - margin < at < spell[1] + margin for at in starts)
