"""Result rows of stage one folded by hand."""

from datetime import timedelta

from reduction_builders import FIRST_START

from analysis.reduction.summaries import StretchBase, fold_summaries
from schemas.stretches import (
    CycleGroup,
    CycleRange,
    CycleTally,
    StageOneRows,
    StationHour,
    Streak,
)

LATER = FIRST_START + timedelta(hours=1)
BASE = StretchBase(stretch_key=7, unit_key=3, rig_id="RIG-A", run_id="run-07", station_no=2)
TEXTS = {4: "GUARD"}
# (stretch, lap, misses, cycles, over limit, absent, invalidating, clipped, counters, starts)
COUNTED = (7, 1, 0, 90, 4, 2, 1, 3, 2, 100, FIRST_START, LATER)
LOW = (7, 1, 16, 6, 0, 5, 0, 0, 40, 45, FIRST_START, FIRST_START)
FIRST_ROW = (7, 1, True, False, 0, None, 500, False, None)
LAST_ROW = (7, 1, False, True, 0, 4, 598, True, 38.0)


def up_to(counted: int, logged: int) -> list[CycleGroup]:
    """Groups of cycles up to a place; those that do not count were below the lower limit."""
    return [CycleGroup(misses=0, cycles=counted), CycleGroup(misses=16, cycles=logged - counted)]


def folded(rows: StageOneRows, persistent: int | None = 5) -> list:
    return fold_summaries(rows, {7: BASE}, TEXTS, persistent)


def rows_of(*totals: tuple, ends: tuple = (FIRST_ROW, LAST_ROW), **others: list) -> StageOneRows:
    parts = {"streaks": [], "attempts": []} | others
    # No peak is near an edge of the band where a row of the totals does not say so.
    with_edges = [(*row, 0)[:13] for row in totals]
    return StageOneRows(totals=with_edges, ends=[*ends], **parts)


def test_counts_add_up_over_the_reasons_and_missing_counters_are_told() -> None:
    (found,) = folded(rows_of(COUNTED, LOW))
    assert (found.logged_cycles, found.counted_cycles) == (96, 90)
    assert found.not_counted_by == {"UNDER_PRESSURE": 6}
    # Counters 2 to 100 are 99 places; 96 rows leave 3 inside, and counter 1 before the first.
    assert (found.unlogged_before_first, found.unlogged_cycles) == (1, 4)
    assert (found.condition_absent_cycles, found.clipped_counted_cycles) == (2, 3)
    assert found.tally == CycleTally(
        test_cycles=96, under_pressure_cycles=6, invalidating_cycles=1, clipped_cycles=3
    )
    assert (found.first_started_at, found.last_started_at) == (FIRST_START, LATER)


def test_a_cycle_with_two_reasons_is_counted_once_by_the_first_and_listed_under_both() -> None:
    (found,) = folded(rows_of(COUNTED, (7, 1, 16 + 32, 2, 0, 0, 0, 0, 50, 51, LATER, LATER), LOW))
    assert found.not_counted_by == {"UNDER_PRESSURE": 8}
    assert found.not_counted_by_every == {"UNDER_PRESSURE": 8, "TROUGH_HIGH": 2}


def test_cycles_near_an_edge_are_those_that_count_where_the_reading_decides() -> None:
    doubted = (7, 1, 2048, 5, 0, 0, 0, 0, 46, 50, FIRST_START, LATER, 5)
    (found,) = folded(rows_of((*COUNTED, 3), doubted, (*LOW, 6)))
    # Short of pressure is outside the band under either rule.
    assert (found.at_edge_cycles, found.guarded_cycles) == (8, 8)
    assert (found.counted_cycles, found.not_counted_by["EDGE_DOUBT"]) == (90, 5)


def test_hours_are_kept_by_name() -> None:
    hour = (7, 1, FIRST_START, 90, 33.25, 0.1, None, 0.3)
    (found,) = folded(rows_of(COUNTED, hours=[hour]))
    assert found.hours == [
        StationHour(
            started_at=FIRST_START,
            counted_cycles=90,
            pressure_peak_mpa=33.25,
            pressure_low_mpa=0.1,
            rise_time_s=0.3,
        )
    ]


def test_edges_give_odometer_stop_reason_burst_and_supply() -> None:
    (found,) = folded(rows_of(COUNTED, attempts=[(7, 1, 2)]))
    assert (found.odometer_first, found.odometer_last) == (500, 598)
    assert (found.stop_reason, found.ends_in_burst, found.supply_at_end_mpa) == (
        "GUARD",
        True,
        38.0,
    )
    assert found.last_cycle_counted
    assert found.under_pressure_at_end == 2


def test_a_supply_cell_that_says_nothing_is_not_recorded() -> None:
    (found,) = folded(rows_of(COUNTED, ends=(FIRST_ROW, (*LAST_ROW[:8], float("nan")))))
    assert found.supply_at_end_mpa is None


def test_one_row_can_be_first_and_last() -> None:
    only = (7, 1, 0, 1, 0, 0, 0, 0, 1, 1, FIRST_START, FIRST_START)
    (found,) = folded(rows_of(only, ends=((7, 1, True, True, 0, None, 9, False, None),)))
    assert (found.odometer_first, found.odometer_last, found.unlogged_cycles) == (9, 9, 0)


def test_laps_come_in_order_and_only_the_last_one_stopped() -> None:
    second = (7, 2, *COUNTED[2:])
    ends = (FIRST_ROW, LAST_ROW, (7, 2, *FIRST_ROW[2:]), (7, 2, *LAST_ROW[2:]))
    found = folded(rows_of(second, COUNTED, ends=ends))
    assert [(each.lap, each.is_last_lap, each.ends_in_burst) for each in found] == [
        (1, False, False),
        (2, True, True),
    ]


def test_the_first_streak_that_is_long_enough_is_the_persistent_one() -> None:
    streaks = [
        (7, 1, 2, 2, True, False, up_to(1, 1), 1, 0),
        (7, 1, 6, 55, False, False, up_to(50, 53), 0, 0),
        (7, 1, 5, 35, False, False, up_to(30, 33), 2, 3),
        (7, 1, 3, 98, False, True, up_to(88, 94), 0, 0),
    ]
    (found,) = folded(rows_of(COUNTED, streaks=streaks))
    assert found.persistent == Streak(
        length_cycles=5,
        first_counted=30,
        first_logged=33,
        first_cycle_in_run=35,
        missing_before=2,
        over_before=3,
        up_to=CycleTally(test_cycles=33, under_pressure_cycles=3),
    )
    assert found.leading.length_cycles == 2
    assert found.trailing.first_counted == 88


def test_without_a_decay_rule_no_streak_is_a_failure() -> None:
    streaks = [(7, 1, 6, 55, False, False, up_to(50, 53), 0, 0)]
    (found,) = folded(rows_of(COUNTED, streaks=streaks), None)
    assert found.persistent is None


def test_ranges_say_where_cycles_of_a_kind_lie_and_how_high_they_went() -> None:
    peaks = [
        (7, 1, True, False, 60, 70, 37.5),
        (7, 1, True, True, 65, 90, 60.0),
        (7, 1, False, True, 50, 50, 59.9),
    ]
    (found,) = folded(rows_of(COUNTED, LOW, peaks=peaks))
    assert found.ranges == {
        "UNDER_PRESSURE": CycleRange(first_cycle_in_run=40, last_cycle_in_run=45),
        "OVER_INVALIDATION": CycleRange(
            first_cycle_in_run=60, last_cycle_in_run=90, highest_peak_mpa=60.0
        ),
        "FULL_SCALE": CycleRange(
            first_cycle_in_run=50, last_cycle_in_run=90, highest_peak_mpa=60.0
        ),
    }


def test_counters_that_lack_before_the_end_belong_to_the_last_lap() -> None:
    second = (7, 2, *COUNTED[2:])
    ends = (FIRST_ROW, LAST_ROW, (7, 2, *FIRST_ROW[2:]), (7, 2, *LAST_ROW[2:]))
    missing = [(7, 1, 9), (7, 2, 4)]
    found = folded(rows_of(COUNTED, second, ends=ends, missing_before_end=missing))
    assert [each.missing_before_end for each in found] == [0, 4]
