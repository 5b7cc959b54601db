"""Failures that the rows show, from hand-made summaries."""

import msgspec
import pytest
from reduction_builders import failing, spec, streak, stretch

from analysis.reduction.failures import first_failure_in_rows
from schemas.stretches import StretchSummary


def found(*stretches: StretchSummary, rule: str = "CONSECUTIVE", **causes: object) -> list:
    return [
        (point.seen_as, point.counted_cycles, point.run_id, point.cycle_in_run)
        for point in first_failure_in_rows(stretches, spec(rule=rule), causes.get("causes", {}))
    ]


def trailing(counted: int, length: int, **changes: object) -> StretchSummary:
    """A stretch whose last counted cycles are over the limit."""
    return stretch(counted, trailing=streak(length, counted - length + 1), **changes)


def leading(counted: int, length: int, *, key: int = 2, **changes: object) -> StretchSummary:
    """A stretch whose first counted cycles are over the limit."""
    return stretch(counted, key=key, hour=2, leading=streak(length, 1), **changes)


def test_a_sustained_decay_is_the_first_cycle_of_its_run() -> None:
    assert found(stretch(100), failing(60, 51, key=2)) == [("DECAY", 151, "run-02", 51)]


def test_a_streak_goes_on_over_a_new_run() -> None:
    assert found(trailing(100, 3), leading(50, 2)) == [("DECAY", 98, "run-01", 98)]
    assert found(trailing(100, 3), leading(50, 1)) == []


def test_a_streak_goes_on_through_a_whole_run_and_one_without_counted_cycles() -> None:
    whole = stretch(2, key=2, leading=streak(2, 1), trailing=streak(2, 1))
    warm_up = stretch(0, key=3, not_counted={"MODE": 30})
    assert found(trailing(100, 2), whole, warm_up, leading(50, 1, key=4)) == [
        ("DECAY", 99, "run-01", 99)
    ]


def test_a_move_to_another_station_breaks_a_streak() -> None:
    assert found(trailing(100, 3), leading(50, 2, station=2)) == []


def test_a_missing_first_counter_breaks_a_streak() -> None:
    assert found(trailing(100, 3), leading(50, 2, unlogged_before_first=1)) == []


def test_a_gap_before_a_leading_streak_breaks_it() -> None:
    # Four warm-up cycles come first. With the counter 8 the fifth row misses three counters.
    at_once = streak(2, 1, logged=5)
    late = msgspec.structs.replace(at_once, first_cycle_in_run=8)
    warm_up = {"MODE": 4}
    joins = stretch(50, key=2, not_counted=warm_up, leading=at_once)
    broken = stretch(50, key=2, not_counted=warm_up, missing=3, leading=late)
    assert found(trailing(100, 3), joins) == [("DECAY", 98, "run-01", 98)]
    assert found(trailing(100, 3), broken) == []


def test_a_gap_after_a_trailing_streak_breaks_it() -> None:
    # Counters 98 to 100 exceed the limit, then 101 to 104 are missing and 105 does not count.
    before = stretch(100, not_counted={"MODE": 1}, missing=4, trailing=streak(3, 98))
    assert found(before, leading(50, 2)) == []
    ungapped = stretch(100, not_counted={"MODE": 1}, trailing=streak(3, 98))
    assert found(ungapped, leading(50, 2)) != []


def test_a_gap_in_a_run_without_counted_cycles_breaks_a_streak() -> None:
    warm_up = stretch(0, key=2, not_counted={"MODE": 30}, missing=2)
    assert found(trailing(100, 3), warm_up, leading(50, 2, key=3)) == []


def test_a_streak_that_joins_goes_before_a_later_one_of_its_own() -> None:
    later = streak(6, 20)
    both = stretch(50, key=2, leading=streak(2, 1), persistent=later)
    assert found(trailing(100, 3), both)[0][1] == 98


def test_a_moving_average_inside_one_run_is_told_by_its_summary() -> None:
    triple = stretch(50, key=2, persistent=streak(3, 10))
    assert found(stretch(100), triple, rule="MOVING_AVERAGE") == [("DECAY", 110, "run-02", 10)]


@pytest.mark.parametrize("last_counted", [True, False])
def test_a_burst_is_credited_what_was_counted_whether_its_cycle_counts_or_not(
    last_counted: bool,
) -> None:
    not_counted = {} if last_counted else {"UNDER_PRESSURE": 1}
    last = stretch(
        50,
        key=2,
        ends_in_burst=True,
        last_cycle_counted=last_counted,
        not_counted=not_counted,
    )
    assert found(stretch(100), last, stretch(9, key=3))[0][:2] == ("BURST", 150)


def test_without_a_limit_no_burst_and_no_decay_is_seen() -> None:
    bare = spec(failure={"burst_below_mpa": None, "decay_limit_mpa": None})
    assert first_failure_in_rows([failing(60, 51, ends_in_burst=True)], bare, {}) == []


def test_the_earliest_failure_comes_first() -> None:
    assert [name for name, *_ in found(failing(60, 51, ends_in_burst=True))] == ["DECAY", "BURST"]


def test_a_unit_that_can_not_build_fails_at_what_it_had_counted() -> None:
    stopped = stretch(90, not_counted={"UNDER_PRESSURE": 6}, under_pressure_at_end=6)
    assert found(stopped, causes={1: "UNIT"}) == [("CANNOT_BUILD", 90, "run-01", 96)]
    for cause in ("RIG", "UNCLEAR"):
        assert found(stopped, causes={1: cause}) == []


def test_a_lap_before_the_last_one_is_not_where_the_run_could_not_build() -> None:
    laps = [stretch(90, is_last_lap=False), stretch(30, lap=2)]
    assert found(*laps, causes={1: "UNIT"})[0][:2] == ("CANNOT_BUILD", 120)


def test_where_the_whole_supply_gave_way_nothing_burst() -> None:
    stopped = stretch(90, ends_in_burst=True, under_pressure_at_end=6)
    assert found(stopped, causes={1: "RIG"}) == []
    assert [name for name, *_ in found(stopped, causes={1: "UNIT"})] == ["BURST", "CANNOT_BUILD"]


# Missing rows right before a failure: it may have come in any cycle that they left out ------


def gap_before(*stretches: StretchSummary, **causes: object) -> list[tuple[int, int, bool]]:
    """Counted cycles, counters missing before and whether the failing cycle itself counts."""
    points = first_failure_in_rows(stretches, spec(), causes.get("causes", {}))
    return [(each.counted_cycles, each.missing_before, each.is_counted) for each in points]


def test_rows_missing_before_a_streak_are_told_with_the_failure() -> None:
    assert gap_before(failing(60, 51)) == [(51, 0, True)]
    assert gap_before(failing(60, 51, missing_before=7)) == [(51, 7, True)]


def test_a_streak_that_begins_its_run_looks_back_to_the_last_counted_cycle() -> None:
    first = failing(9, 1, key=3, missing_before=2)
    silent = stretch(0, key=2, not_counted={"MODE": 4}, missing=5)
    before = stretch(100, missing=30, missing_after_counted=3)
    assert gap_before(before, silent, first) == [(101, 2 + 5 + 3, True)]
    # Gaps before a sound cycle are no reason for doubt.
    assert gap_before(stretch(100, missing=30), first) == [(101, 2, True)]
    assert gap_before(stretch(100, missing=30), failing(9, 3, key=3)) == [(103, 0, True)]


def test_a_streak_joined_over_two_runs_keeps_what_is_missing_before_its_first_cycle() -> None:
    first = msgspec.structs.replace(streak(3, 98), missing_before=4)
    assert gap_before(stretch(100, trailing=first), leading(50, 2)) == [(98, 4, True)]


def test_rows_missing_before_a_burst_or_failed_attempts_are_told() -> None:
    burst = stretch(90, ends_in_burst=True, missing=6, missing_before_end=6)
    assert gap_before(burst) == [(90, 6, True)]
    uncounted = msgspec.structs.replace(burst, last_cycle_counted=False)
    assert gap_before(uncounted) == [(90, 6, False)]
    alone = stretch(1, key=2, ends_in_burst=True)
    assert gap_before(stretch(100, missing=9, missing_after_counted=9), alone) == [(101, 9, True)]
