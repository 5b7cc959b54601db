"""How far back a failure behind missing rows may have begun, from hand-made summaries."""

from msgspec import structs
from reduction_builders import failing, spec, streak, stretch

from analysis.reduction.failure_points import (
    breaks,
    decay_point,
    lasts_to_the_end,
    missing_back,
    over_before,
    starts_at_once,
)
from analysis.reduction.failures import first_failure_in_rows
from schemas.stretches import CycleTally, StretchSummary


def over(*stretches: StretchSummary, rule: str = "CONSECUTIVE") -> list[tuple[str, int]]:
    points = first_failure_in_rows(stretches, spec(rule=rule), {})
    return [(point.seen_as, point.over_before) for point in points]


def behind_gap(over_limit: int, first: int = 51, **changes: object) -> StretchSummary:
    """Leaks from its cycle `first` on, before which four counters lack."""
    found = failing(first + 9, first, missing_before=4, **changes)
    seen = structs.replace(found.persistent, over_before=over_limit)
    return structs.replace(found, persistent=seen)


def test_cycles_over_the_limit_before_the_gap_may_belong_to_the_failure() -> None:
    assert over(behind_gap(3)) == [("DECAY", 3)]
    assert over(behind_gap(0)) == [("DECAY", 0)]


def test_without_a_gap_right_before_it_a_failure_begins_where_it_was_seen() -> None:
    assert over(failing(60, 51)) == [("DECAY", 0)]


def test_they_go_on_into_the_runs_before_but_not_over_a_move() -> None:
    first = stretch(100, over_at_end=2)
    whole = stretch(3, key=2, hour=1, over_at_end=3)
    last = behind_gap(0, first=1, key=3, hour=2)
    assert over(first, whole, last) == [("DECAY", 5)]
    moved = behind_gap(0, first=1, key=3, hour=2, station=2)
    assert over(first, whole, moved) == [("DECAY", 0)]
    assert over(first, stretch(4, key=2, hour=1, over_at_end=3), last) == [("DECAY", 3)]


def test_a_mean_of_three_takes_in_two_cycles_before_the_gap_whatever_their_decay() -> None:
    assert over(behind_gap(0), rule="MOVING_AVERAGE") == [("DECAY", 2)]
    only_one = stretch(1, key=1)
    assert over(only_one, behind_gap(0, first=1, key=2, hour=1), rule="MOVING_AVERAGE") == [
        ("DECAY", 1)
    ]


def test_a_burst_behind_a_gap_may_have_been_a_sustained_decay_before() -> None:
    last = stretch(
        50,
        ends_in_burst=True,
        last_cycle_counted=False,
        not_counted={"UNDER_PRESSURE": 1},
        missing=7,
        missing_before_end=7,
        over_at_end=4,
    )
    assert over(last) == [("BURST", 4)]


def test_places_at_the_edges_of_a_stretch() -> None:
    whole, late = stretch(10), stretch(10, missing=3)
    assert starts_at_once(whole, streak(2, 1)) and lasts_to_the_end(whole, streak(2, 9))
    assert not lasts_to_the_end(late, streak(2, 9))
    thinned = stretch(101, tally=CycleTally(inferred_cycles=90), logged_cycles=11)
    assert lasts_to_the_end(thinned, streak(2, 91, logged=10))
    assert not lasts_to_the_end(
        structs.replace(thinned, missing_after_counted=1), streak(2, 91, logged=10)
    )


def test_what_breaks_a_streak_between_two_stretches() -> None:
    first = stretch(10)
    assert not breaks(first, stretch(10, key=2))
    assert breaks(first, stretch(10, key=2, station=2))
    assert breaks(first, stretch(10, key=2, unlogged_before_first=1))


def test_a_place_counts_the_stretches_before_and_what_lacks_back_to_a_counted_cycle() -> None:
    stretches = [
        stretch(10, missing_after_counted=2),
        stretch(0, key=2, not_counted={"MODE": 5}, missing=3),
        stretch(20, key=3),
    ]
    assert missing_back(stretches, 2) == 5
    point = decay_point(stretches, 2, streak(5, 1))
    assert (point.counted_cycles, point.logged_cycles, point.missing_before) == (11, 16, 5)


def test_where_decay_is_not_judged_nothing_can_have_begun_earlier() -> None:
    bare = spec(failure={"decay_limit_mpa": None, "persistence": None})
    stretches = [stretch(50, missing=7, over_at_end=4)]
    point = structs.replace(decay_point(stretches, 0, streak(1, 20)), missing_before=3)
    assert over_before(point, stretches, bare) == 0
