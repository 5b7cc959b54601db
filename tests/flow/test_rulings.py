"""Rulings that the rules of the trade leave open and that no other test holds: through HTTP.

The table of all of them, with the tests that hold each, is `tests/support/rulings.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import twelve_units as lot
from posted import lives_of
from service_client import ServiceClient, running_service
from twelve_units import file_of, run, told


@pytest.fixture
def client(tmp_path: Path) -> Iterator[ServiceClient]:
    with running_service(tmp_path) as started:
        yield started


def life(client: ServiceClient, lot_id: str, serial: str = "U12") -> dict[str, Any]:
    return next(each for each in lives_of(client, lot_id) if each["unit_serial"] == serial)


@pytest.mark.parametrize("full", [65_535, 4_294_967_295])
@pytest.mark.parametrize("goes_on_at", [0, 1])
def test_a_full_counter_goes_on_at_zero_or_one_with_no_cycle_missing(
    client: ServiceClient, full: int, goes_on_at: int
) -> None:
    before = run("U12", 100, first_counter=full - 99, stop=None)
    after = run("U12", 50, first_counter=goes_on_at, hour=100 * 2.5 / 3600, stop="GUARD")
    lot_id = told(client, lot.spec(), file_of([before, after]))
    found = life(client, lot_id)
    assert found["totals"]["counted_cycles"] == 150
    # Nothing lacks but what came before the first counter that arrived.
    assert found["totals"]["unlogged_cycles"] == full - 100
    assert "COUNTER_WRAP" in found["marks"] and "COUNTER_RESET" not in found["marks"]


def test_a_unit_moves_to_another_station_without_an_event(client: ServiceClient) -> None:
    first = run("U12", 400, run_id="run-1", stop="SHIFT_END")
    second = run("U12", 600, run_id="run-2", hour=3.0, rig_id="RIG-A", station_no=11)
    found = life(client, told(client, lot.spec(), file_of([first, second])))
    assert (found["ending"], found["credited_cycles"], found["holds"]) == ("RUN_OUT", 1000, [])
    places = [(each["rig_id"], each["station_no"]) for each in found["stretches"]]
    assert places == [("RIG-B", 6), ("RIG-A", 11)]


def test_the_set_pressure_of_a_row_moves_no_band(client: ServiceClient) -> None:
    """A rig that was set to 36 MPa half-way: its peaks are over the band of the specification."""
    set_mpa = [33.25] * 500 + [36.0] * 500
    peaks = [33.25] * 500 + [36.0] * 500
    table = run("U12", 1000, pressure_set_mpa=set_mpa, pressure_peak_mpa=peaks)
    totals = life(client, told(client, lot.spec(), file_of([table])))["totals"]
    assert (totals["counted_cycles"], totals["not_counted_by"]) == (500, {"OVER_PRESSURE": 500})


def test_reasons_come_in_their_order_and_the_first_one_counts(client: ServiceClient) -> None:
    conditions = {
        "pressure_low_max_mpa": 0.15,
        "rise_time_max_s": 0.4,
        "dwell_time_min_s": 1.5,
        "fluid_temperature_max_c": 53.0,
    }
    bad = {
        "station_mode": "COLD_CHECK",
        "pressure_peak_mpa": 20.0,
        "pressure_low_mpa": 0.5,
        "rise_time_s": 0.9,
        "dwell_time_s": 0.5,
        "fluid_temperature_c": 90.0,
    }
    good = {
        "station_mode": "TEST",
        "pressure_peak_mpa": 33.25,
        "pressure_low_mpa": 0.1,
        "rise_time_s": 0.3,
        "dwell_time_s": 1.5,
        "fluid_temperature_c": 45.0,
    }
    in_order = ["MODE", "UNDER_PRESSURE", "TROUGH_HIGH", "RISE_SLOW", "DWELL_SHORT", "TEMPERATURE"]
    # The first cycle misses everything, each one after it one reason less from the front.
    columns = {
        name: [bad[name]] * (number + 1) + [good[name]] * (6 - number)
        for number, name in enumerate(bad)
    }
    table = run("U12", 7, stop="GUARD", **columns)
    totals = life(client, told(client, lot.spec(conditions=conditions), file_of([table])))["totals"]
    assert totals["counted_cycles"] == 1
    assert totals["not_counted_by"] == dict.fromkeys(in_order, 1)
    every = {reason: number for number, reason in enumerate(in_order, start=1)}
    assert totals["not_counted_by_every"] == every
