"""How cycles were tested, added up by hand."""

from reduction_builders import stretch

from analysis.reduction.tallies import PartCounts, counts_of, tally_before, tally_of
from schemas.stretches import NOT_COUNTED_REASONS, CycleGroup, CycleTally


def bits(*reasons: str) -> int:
    return sum(1 << NOT_COUNTED_REASONS.index(reason) for reason in reasons)


def test_a_counted_cycle_is_a_test_cycle_and_nothing_else() -> None:
    assert tally_of(CycleGroup(misses=0, cycles=7)) == CycleTally(test_cycles=7)


def test_a_cycle_outside_the_test_modes_is_not_asked_for_its_pressure() -> None:
    low_in_warm_up = CycleGroup(misses=bits("MODE", "UNDER_PRESSURE"), cycles=4)
    assert tally_of(low_in_warm_up) == CycleTally()


def test_a_cycle_without_a_reading_is_a_test_cycle_but_not_under_pressure() -> None:
    dead = CycleGroup(misses=bits("NO_READING", "UNDER_PRESSURE"), cycles=4)
    assert tally_of(dead) == CycleTally(test_cycles=4)


def test_a_low_cycle_is_under_pressure_whatever_else_it_misses() -> None:
    low = CycleGroup(misses=bits("UNDER_PRESSURE", "TEMPERATURE"), cycles=3)
    assert tally_of(low) == CycleTally(test_cycles=3, under_pressure_cycles=3)


def test_a_cell_that_says_nothing_would_count_only_where_nothing_else_is_missed() -> None:
    silent = CycleGroup(misses=bits("CONDITION_NOT_RECORDED"), cycles=2)
    assert tally_of(silent) == CycleTally(
        test_cycles=2, not_recorded_cycles=2, only_not_recorded_cycles=2
    )
    and_low = CycleGroup(misses=bits("UNDER_PRESSURE", "CONDITION_NOT_RECORDED"), cycles=2)
    assert tally_of(and_low) == CycleTally(
        test_cycles=2, under_pressure_cycles=2, not_recorded_cycles=2
    )


def test_peaks_over_the_invalidation_limit_count_in_any_mode() -> None:
    group = CycleGroup(misses=bits("MODE"), cycles=9, invalidating_cycles=2, clipped_cycles=1)
    assert tally_of(group) == CycleTally(invalidating_cycles=2, clipped_cycles=1)


def test_counts_of_groups_add_up() -> None:
    groups = [CycleGroup(misses=0, cycles=90), CycleGroup(misses=bits("UNDER_PRESSURE"), cycles=6)]
    assert counts_of(groups) == PartCounts(
        counted_cycles=90,
        logged_cycles=96,
        tally=CycleTally(test_cycles=96, under_pressure_cycles=6),
    )
    assert counts_of([]) == PartCounts()


def test_the_tally_before_a_stretch_is_that_of_those_before_it() -> None:
    runs = [stretch(50, not_counted={"UNDER_PRESSURE": n}, key=n) for n in (1, 2, 3)]
    assert tally_before(runs, 2) == CycleTally(test_cycles=103, under_pressure_cycles=3)
    assert tally_before(runs, -1) == CycleTally()
