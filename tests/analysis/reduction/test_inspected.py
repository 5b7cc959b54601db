"""What the place of an inspection tells: looks at one count, missing rows, a start before it."""

import pytest
from msgspec import structs
from reduction_builders import FUNCTION, LEAK, inspected, inspection, spec, stretch

from analysis.reduction.inspected import (
    cycles_since_start,
    found_before_the_first_cycle,
    is_restart_weep,
    joined_at_one_count,
    missing_before,
)
from analysis.reduction.order import Place
from analysis.reduction.tallies import PartCounts
from schemas.stretches import CycleTally

RULES = spec(LEAK, FUNCTION, reduction={"warm_up_cycles": 20})


def test_looks_at_one_count_become_one_with_the_highest_leak_class() -> None:
    looks = [
        inspected(500, hour=50, leak_class=1, function_check=None),
        inspected(500, hour=51, leak_class=2, function_check=None),
        inspected(500, hour=52, leak_class=None, function_check="PASS"),
        inspected(400, leak_class=None, function_check="PASS"),
    ]
    first, second = joined_at_one_count(looks, RULES)
    assert (first.inspection.leak_class, first.inspection.function_check) == (2, "PASS")
    assert first.inspection.inspected_at == looks[2].inspection.inspected_at
    assert (second.counted_cycles, second.inspection.leak_class) == (400, None)


def test_a_look_that_found_a_failure_joins_no_other() -> None:
    looks = [inspected(500, hour=50, leak_class=5), inspected(500, hour=51, leak_class=0)]
    (joined,) = joined_at_one_count(looks, RULES)
    assert joined.inspection.leak_class == 0


@pytest.mark.parametrize(
    ("since_start", "leak_class", "expected"),
    [(20, 1, True), (21, 1, False), (0, 1, False), (20, 0, False), (20, 4, False), (20, 3, True)],
)
def test_moisture_below_the_failing_class_just_after_a_start_is_a_weep(
    since_start: int, leak_class: int, *, expected: bool
) -> None:
    look = structs.replace(inspected(500, leak_class=leak_class), since_start_cycles=since_start)
    assert is_restart_weep(look, RULES) is expected
    assert not is_restart_weep(look, spec(LEAK))


def test_an_incoming_look_is_before_the_first_cycle_only_where_none_was_logged() -> None:
    incoming = inspected(0, purpose="INCOMING")
    assert found_before_the_first_cycle(incoming)
    assert not found_before_the_first_cycle(inspected(10, purpose="INCOMING"))
    assert not found_before_the_first_cycle(inspected(0, purpose="SCHEDULED"))
    located = {"rig_id": "RIG-A", "run_id": "run-01", "cycle_in_run": 5}
    after = inspection(purpose="INCOMING", after=located)
    assert not found_before_the_first_cycle(structs.replace(incoming, inspection=after))


STRETCHES = [stretch(100, missing=10), stretch(50, key=2, hour=2, missing=5)]
"""Counters 1 to 110 of which 10 lack, then 1 to 55 of which 5 lack."""


def test_counters_that_lack_before_a_place() -> None:
    def lacking(place: Place, inside: PartCounts | None = None) -> int:
        return missing_before(STRETCHES, place, inside or PartCounts())

    assert lacking(Place(stretch_no=-1, ends_stretch=True)) == 0
    assert lacking(Place(stretch_no=0, ends_stretch=True)) == 10
    at_counter = Place(stretch_no=1, ends_stretch=False, last_cycle_in_run=30)
    assert lacking(at_counter, PartCounts(logged_cycles=27, highest=29)) == 10 + 3
    by_time = Place(stretch_no=1, ends_stretch=False)
    assert lacking(by_time, PartCounts(logged_cycles=27, highest=29)) == 10 + 2
    assert lacking(by_time) == 10
    beyond = Place(stretch_no=1, ends_stretch=True, last_cycle_in_run=60)
    assert lacking(beyond) == 10 + 5 + 5


def test_what_thinning_left_out_does_not_lack() -> None:
    inside = PartCounts(logged_cycles=4, highest=31, tally=CycleTally(inferred_cycles=27))
    place = Place(stretch_no=1, ends_stretch=False, last_cycle_in_run=31)
    assert missing_before(STRETCHES, place, inside) == 10


def test_cycles_since_the_start_of_the_run_go_over_a_reset_of_its_counter() -> None:
    laps = [stretch(100, is_last_lap=False), stretch(30, lap=2)]
    inside = PartCounts(logged_cycles=12)
    assert cycles_since_start(laps, Place(stretch_no=1, ends_stretch=False), inside) == 112
    assert cycles_since_start(laps, Place(stretch_no=1, ends_stretch=True), PartCounts()) == 130
    before = Place(stretch_no=-1, ends_stretch=True)
    assert cycles_since_start(laps, before, PartCounts()) == 0
