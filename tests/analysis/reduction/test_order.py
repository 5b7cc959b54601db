"""Order of stretches, places in it, and orders that nothing tells."""

from datetime import timedelta

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reduction_builders import FIRST_START, inspection, instant, stretch

from analysis.reduction.order import (
    cycles_before,
    in_order,
    other_orders,
    overlapping_runs,
    place_at,
    place_of,
)

DAY = [stretch(100, key=n, hour=2 * n) for n in range(1, 5)]


def keys(stretches: list) -> list[int]:
    return [each.stretch_key for each in stretches]


@settings(derandomize=True, max_examples=30)
@given(shuffled=st.permutations(DAY))
def test_runs_of_a_station_come_by_start_time_in_whatever_order_they_arrive(shuffled: list) -> None:
    assert keys(in_order(shuffled)) == [1, 2, 3, 4]


def test_the_odometer_wins_over_a_clock_that_jumped_back() -> None:
    first = stretch(100, key=1, hour=5, odometer_first=1, odometer_last=100)
    second = stretch(100, key=2, hour=1, odometer_first=101, odometer_last=200)
    assert keys(in_order([second, first])) == [1, 2]


def test_one_stretch_without_an_odometer_leaves_its_station_to_the_clock() -> None:
    first = stretch(100, key=1, hour=5, odometer_first=1, odometer_last=100)
    assert keys(in_order([first, stretch(100, key=2, hour=1)])) == [2, 1]


def test_an_odometer_orders_its_own_station_only() -> None:
    here = stretch(100, key=1, hour=4, station=1, odometer_first=10, odometer_last=109)
    there = stretch(100, key=2, hour=1, station=2, odometer_first=900, odometer_last=999)
    assert keys(in_order([here, there])) == [2, 1]


def test_laps_of_a_run_stay_together_and_in_order() -> None:
    laps = [stretch(10, key=1, hour=h, lap=n, is_last_lap=n == 2) for h, n in ((1, 1), (3, 2))]
    assert [
        (s.stretch_key, s.lap) for s in in_order([*reversed(laps), stretch(10, key=2, hour=5)])
    ] == [
        (1, 1),
        (1, 2),
        (2, 1),
    ]


def test_an_inspection_is_placed_by_run_and_counter() -> None:
    after = {"rig_id": "RIG-A", "run_id": "run-02", "cycle_in_run": 40}
    place = place_of(inspection(100, after=after), DAY)
    assert (place.stretch_no, place.ends_stretch, place.last_cycle_in_run) == (1, False, 40)
    at_end = place_of(inspection(100, after=after | {"cycle_in_run": 100}), DAY)
    assert at_end.ends_stretch


def test_a_counter_that_came_twice_is_that_of_the_last_lap_begun_by_then() -> None:
    laps = [stretch(100, key=1, hour=h, lap=n, is_last_lap=n == 2) for h, n in ((0, 1), (4, 2))]
    after = {"rig_id": "RIG-A", "run_id": "run-01", "cycle_in_run": 50}
    assert place_of(inspection(2, after=after), laps).stretch_no == 0
    assert place_of(inspection(9, after=after), laps).stretch_no == 1


@pytest.mark.parametrize("run_id", ["run-99", None])
def test_without_a_known_run_an_inspection_is_placed_by_its_time(run_id: str | None) -> None:
    after = {"rig_id": "RIG-A", "run_id": run_id, "cycle_in_run": 1} if run_id else None
    place = place_of(inspection(5, after=after), DAY)
    assert (place.stretch_no, place.ends_stretch) == (1, True)


def test_an_instant_before_the_first_row_is_before_every_stretch() -> None:
    place = place_at(instant(0), DAY)
    assert (place.stretch_no, place.ends_stretch) == (-1, True)


def test_an_instant_inside_a_stretch_keeps_its_time() -> None:
    place = place_at(instant(4) + timedelta(seconds=20), DAY)
    assert (place.stretch_no, place.ends_stretch) == (1, False)
    assert place.last_started_at == FIRST_START + timedelta(hours=4, seconds=20)


def test_a_zone_is_not_forgotten() -> None:
    zoned = instant(4.01).astimezone(
        msgspec.convert("2026-01-01T00:00:00+05:00", type(instant(0))).tzinfo
    )
    assert place_at(zoned, DAY) == place_at(instant(4.01), DAY)


def test_cycles_before_a_stretch_are_summed() -> None:
    mixed = [stretch(90, not_counted={"MODE": 10}), stretch(50, key=2), stretch(1, key=3)]
    assert cycles_before(mixed, 2) == (140, 150)
    assert cycles_before(mixed, -1) == (0, 0)


def test_runs_that_overlap_without_an_odometer_may_stand_in_either_order() -> None:
    one, two = stretch(1440, key=1, hour=0), stretch(1440, key=2, hour=0.5)
    last = stretch(10, key=3, hour=9)
    assert overlapping_runs([one, two, last]) == {1: [2], 2: [1]}
    assert [keys(order) for order in other_orders([one, two, last])] == [[2, 1, 3]]


def test_three_runs_that_overlap_are_each_put_first_and_last() -> None:
    three = [stretch(1440, key=n, hour=0.1 * n) for n in (1, 2, 3)]
    orders = {tuple(keys(order)) for order in other_orders(three)}
    assert orders == {(2, 3, 1), (2, 1, 3), (1, 3, 2), (3, 1, 2)}


def test_odometers_and_other_stations_leave_no_doubt() -> None:
    spans = {"odometer_first": 1, "odometer_last": 2}
    assert other_orders([stretch(1440, key=1, **spans), stretch(1440, key=2, **spans)]) == []
    assert other_orders([stretch(1440, key=1), stretch(1440, key=2, station=2)]) == []
    assert other_orders([stretch(1440, key=1), stretch(1440, key=2, hour=2)]) == []
