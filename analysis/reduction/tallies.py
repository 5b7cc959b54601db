"""Counts of one part of a unit's rows: what counts, and how the rest was tested."""

from collections.abc import Iterable, Sequence

from msgspec import Struct

from schemas.stretches import NOT_COUNTED_REASONS, CycleGroup, CycleTally, StretchSummary

_COUNTED = 0
_BITS = {reason: 1 << bit for bit, reason in enumerate(NOT_COUNTED_REASONS)}
_NO_READING, _MODE = _BITS["NO_READING"], _BITS["MODE"]
_UNDER_PRESSURE, _NOT_RECORDED = _BITS["UNDER_PRESSURE"], _BITS["CONDITION_NOT_RECORDED"]


class PartCounts(Struct, frozen=True, kw_only=True):
    """
    Counted and logged cycles of a part of the rows, and the tally of the same cycles.

    Inferred cycles are among the counted ones. `highest` is the last counter.
    """

    counted_cycles: int = 0
    logged_cycles: int = 0
    tally: CycleTally = CycleTally()
    highest: int = 0


def counts_of(groups: Iterable[CycleGroup]) -> PartCounts:
    """
    Counts of the cycles of some groups.

    Parameters
    ----------
    groups : iterable of CycleGroup
        As stage one counts them.

    Returns
    -------
    PartCounts

    Examples
    --------
    >>> found = counts_of([CycleGroup(misses=0, cycles=95), CycleGroup(misses=16, cycles=5)])
    >>> found.counted_cycles, found.logged_cycles, found.tally.under_pressure_cycles
    (95, 100, 5)
    """
    total = PartCounts()
    for group in groups:
        total = PartCounts(
            counted_cycles=total.counted_cycles
            + group.cycles * (group.misses == _COUNTED)
            + group.inferred_cycles,
            logged_cycles=total.logged_cycles + group.cycles,
            tally=together(total.tally, tally_of(group)),
            highest=max(total.highest, group.highest),
        )
    return total


def tally_of(group: CycleGroup) -> CycleTally:
    """
    Tally of the cycles of one group.

    A cycle without a reading, or outside the test modes, is neither under pressure
    nor short of a record: nobody asked it for either.
    """
    misses, cycles = group.misses, group.cycles
    judged = not misses & (_NO_READING | _MODE)
    return CycleTally(
        test_cycles=0 if misses & _MODE else cycles,
        under_pressure_cycles=cycles if judged and misses & _UNDER_PRESSURE else 0,
        not_recorded_cycles=cycles if judged and misses & _NOT_RECORDED else 0,
        only_not_recorded_cycles=cycles if misses == _NOT_RECORDED else 0,
        invalidating_cycles=group.invalidating_cycles,
        clipped_cycles=group.clipped_cycles,
        inferred_cycles=group.inferred_cycles,
    )


def tally_before(stretches: Sequence[StretchSummary], stretch_no: int) -> CycleTally:
    """Tally of the stretches before number `stretch_no`."""
    return together(*(stretch.tally for stretch in stretches[: max(stretch_no, 0)]))


def together(*tallies: CycleTally) -> CycleTally:
    """
    Tally of several parts of the rows together.

    Examples
    --------
    >>> together(CycleTally(test_cycles=2), CycleTally(test_cycles=3)).test_cycles
    5
    """
    return CycleTally(
        **{
            name: sum(getattr(tally, name) for tally in tallies)
            for name in CycleTally.__struct_fields__
        }
    )
