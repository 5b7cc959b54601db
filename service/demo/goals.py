"""Where a unit's test is to be stopped: inspections, its failure, the inspection that finds it."""

from __future__ import annotations

from msgspec import Struct

from service.demo.facts import UnitFacts
from service.demo.scenario import (
    INSPECTION_EVERY_CYCLES,
    OVER_LIMIT_CYCLES,
    PLANNED_CYCLES,
    scaled,
)


class UnitGoals(Struct, frozen=True, kw_only=True):
    """
    Counted cycles at which a unit is stopped, in their order, and how its test ends.

    `reached` is the last of a unit that does not fail. `failed_at` begins the sustained
    decay, after which the rig trips; `found_between` are the counts of the last clean
    inspection and of the one that finds a leak outside.
    """

    counts: tuple[int, ...]
    reached: int
    failed_at: int | None = None
    found_between: tuple[int, int] | None = None


def goals_of(unit: UnitFacts, *, reached_cycles: int | None, scale: float) -> UnitGoals:
    """
    The goals of a unit.

    Parameters
    ----------
    unit : UnitFacts
        With its life and how it fails.
    reached_cycles : int or None, keyword only
        Where the lot's test has come to, at scale 1; None where it is over.
    scale : float, keyword only
        Length of the test.

    Returns
    -------
    UnitGoals

    Examples
    --------
    >>> from service.demo.lots import lot
    >>> goals_of(lot("L07").units[6], reached_cycles=None, scale=1.0).found_between
    (75000, 100000)
    """
    last = reached_cycles or PLANNED_CYCLES
    reached = scaled(last, scale)
    steps = round(PLANNED_CYCLES / INSPECTION_EVERY_CYCLES)
    regular = [scaled(INSPECTION_EVERY_CYCLES * number, scale) for number in range(1, steps + 1)]
    counts = [count for count in regular if count < reached] + [reached]
    if unit.life_cycles > last:
        return UnitGoals(counts=tuple(counts), reached=reached)
    life = scaled(unit.life_cycles, scale)
    sound = [count for count in counts if count < life]
    if unit.mode == "SEAL_DECAY":
        trip = life + OVER_LIMIT_CYCLES - 1
        return UnitGoals(counts=(*sound, trip), reached=reached, failed_at=life)
    found_at = counts[len(sound)]
    return UnitGoals(
        counts=(*sound, found_at),
        reached=reached,
        found_between=(sound[-1] if sound else 0, found_at),
    )
