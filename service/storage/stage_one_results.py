"""What stage one returns for some stretches, and what is read off its totals."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from schemas.stretches import NOT_COUNTED_REASONS, CycleGroup, StageOneRows

COUNTED = 0
"""What a cycle that counts misses."""
_UNDER_PRESSURE = 1 << NOT_COUNTED_REASONS.index("UNDER_PRESSURE")

VARIANTS = ("as_stored", "kindest", "harshest")
"""How two conflicting rows are taken: the first received, the best or the worst for the unit.

A fourth name in the results, `by_clock`, stands for laps by start time where counter and clock
disagree."""


class VariantRows(StageOneRows, frozen=True, kw_only=True):
    """Result rows of stage one for some stretches under one variant."""

    variant: str


CountsByPoint = dict[int, list[CycleGroup]]
Point = tuple[int, int, int, int, Any]
"""Number of the question, stretch, lap, last counter, last start."""


def where_the_clock_falls(ends: Iterable[tuple[Any, ...]]) -> set[int]:
    """
    Stretches whose lowest counter started later than their highest.

    Either the clock was set or the counter was; the counter orders the rows, and
    laps by the clock are a second reading.
    """
    first_starts = {row[0]: row[9] for row in ends if row[2]}
    return {row[0] for row in ends if row[3] and first_starts[row[0]] > row[9]}


def edges_of(totals: Iterable[tuple[Any, ...]]) -> dict[tuple[int, int], tuple[int, int]]:
    """Lowest and highest counter by stretch and lap, over some rows of the totals."""
    edges: dict[tuple[int, int], tuple[int, int]] = {}
    for row in totals:
        lowest, highest = edges.get((row[0], row[1]), (row[8], row[9]))
        edges[row[0], row[1]] = (min(lowest, row[8]), max(highest, row[9]))
    return edges


def laps_with_gaps(totals: Iterable[tuple[Any, ...]]) -> set[tuple[int, int]]:
    """Laps in which counters lack, before the first row or inside, by their totals."""
    rows = [*totals]
    cycles: Counter[tuple[int, int]] = Counter()
    for row in rows:
        cycles[row[0], row[1]] += row[3]
    return {
        lap
        for lap, (lowest, highest) in edges_of(rows).items()
        if highest - min(lowest, 1) + 1 > cycles[lap]
    }


def cycles_of(groups: Iterable[CycleGroup]) -> int:
    """Cycles of all groups together."""
    return sum(group.cycles for group in groups)


def is_short(misses: int) -> bool:
    """Whether the first reason of a cycle is that it did not reach its lower limit."""
    return misses & -misses == _UNDER_PRESSURE
