"""What is read off the totals of stage one, by hand."""

from datetime import datetime

from schemas.stretches import NOT_COUNTED_REASONS, CycleGroup
from service.storage.stage_one_results import (
    cycles_of,
    edges_of,
    is_short,
    laps_with_gaps,
    where_the_clock_falls,
)


def total(lap: int, misses: int, cycles: int, lowest: int, highest: int) -> tuple:
    return (7, lap, misses, cycles, 0, 0, 0, 0, lowest, highest)


def test_edges_are_the_lowest_and_the_highest_counter_over_all_reasons() -> None:
    rows = [total(1, 0, 5, 3, 9), total(1, 16, 2, 1, 4), total(2, 0, 4, 1, 4)]
    assert edges_of(rows) == {(7, 1): (1, 9), (7, 2): (1, 4)}


def test_a_lap_has_gaps_where_its_counters_are_more_than_its_rows() -> None:
    assert laps_with_gaps([total(1, 0, 5, 1, 7), total(1, 16, 2, 3, 4)]) == set()
    assert laps_with_gaps([total(1, 0, 5, 1, 8), total(1, 16, 2, 3, 4)]) == {(7, 1)}
    # Counters that lack before the first row are a gap too; a wrap may begin with 0.
    assert laps_with_gaps([total(1, 0, 5, 2, 6)]) == {(7, 1)}
    assert laps_with_gaps([total(2, 0, 5, 0, 4)]) == set()


def test_cycles_of_groups_add_up() -> None:
    assert cycles_of([CycleGroup(misses=0, cycles=4), CycleGroup(misses=16, cycles=3)]) == 7


def test_a_cycle_is_short_if_its_first_reason_is_that_it_was_under_pressure() -> None:
    bit = {reason: 1 << n for n, reason in enumerate(NOT_COUNTED_REASONS)}
    assert is_short(bit["UNDER_PRESSURE"] + bit["TEMPERATURE"])
    assert not is_short(bit["UNDER_PRESSURE"] + bit["NO_READING"])
    assert not is_short(0)


def test_the_clock_falls_where_the_first_counter_started_last() -> None:
    early, late = datetime(2026, 3, 2, 6), datetime(2026, 3, 2, 7)

    def end(key: int, is_first: bool, start: datetime) -> tuple:
        return (key, 1, is_first, not is_first, 0, None, None, False, None, start)

    rising = [end(1, True, early), end(1, False, late)]
    falling = [end(2, True, late), end(2, False, early)]
    assert where_the_clock_falls([*rising, *falling]) == {2}
