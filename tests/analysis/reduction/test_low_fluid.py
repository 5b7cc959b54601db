"""Low-fluid stops and the units that met them."""

from datetime import UTC, timedelta

from reduction_builders import FIRST_START, RIG, event, rig, stretch

from analysis.reduction.low_fluid import SupplyStop, stops_met_by, supply_stops

RIGS = {RIG: rig(supplies=[{"station_no": 3, "supply_id": "S-3"}])}
# 1441 cycles of 2.5 s end one hour after their first.
AN_HOUR = stretch(1441, stop="LOW_OIL")


def at(hour: float) -> object:
    return FIRST_START.replace(tzinfo=UTC) + timedelta(hours=hour)


def test_the_rows_of_any_unit_report_a_stop_of_their_supply() -> None:
    (stop,) = supply_stops([AN_HOUR, stretch(50, station=2)], [], RIGS)
    assert (stop.supply, stop.stopped_at) == (("rig", RIG), at(1))


def test_stations_that_stop_within_a_minute_stopped_together() -> None:
    near = stretch(1441, key=2, station=2, hour=59 / 3600, stop="LOW_OIL")
    later = stretch(1441, key=3, station=4, hour=62 / 3600, stop="LOW_OIL")
    assert len(supply_stops([near, AN_HOUR], [], RIGS)) == 1
    assert len(supply_stops([near, AN_HOUR, later], [], RIGS)) == 2


def test_supplies_of_one_rig_are_kept_apart() -> None:
    other = stretch(1441, key=2, station=3, stop="LOW_OIL")
    found = supply_stops([AN_HOUR, other], [], RIGS)
    assert {stop.supply for stop in found} == {("rig", RIG), ("supply", "S-3")}


def test_an_event_without_a_station_concerns_every_supply_of_its_rig() -> None:
    everywhere = event(hour=1, kind="STOPPED", raw_code="LOW_OIL", station_no=None)
    one = event(hour=1, kind="STOPPED", raw_code="LOW_OIL", station_no=3)
    guard = event(hour=1, kind="STOPPED", raw_code="GUARD")
    assert len(supply_stops([], [everywhere], RIGS)) == 2
    assert [stop.supply for stop in supply_stops([], [one], RIGS)] == [("supply", "S-3")]
    assert supply_stops([], [guard], RIGS) == []


def met(*stretches: object, hour: float = 1.0) -> list:
    stop = SupplyStop(supply=("rig", RIG), stopped_at=at(hour), rig_id=RIG)
    return [each.counted_cycles for each in stops_met_by(stretches, [stop], RIGS)]


def test_a_unit_that_stopped_with_the_supply_met_the_stop_at_its_count() -> None:
    assert met(AN_HOUR) == [1441]
    assert met(stretch(200, key=2, hour=-3), AN_HOUR) == [1641]


def test_a_unit_that_had_gone_or_was_elsewhere_did_not_meet_it() -> None:
    assert met(stretch(1441, hour=-3)) == []
    assert met(stretch(1441, hour=2)) == []
    assert met(stretch(1441, station=3)) == []
    assert met(stretch(1441, rig_id="RIG-B")) == []
    assert met() == []


def test_a_run_that_went_on_through_the_stop_counts_only_what_came_before_it() -> None:
    assert met(stretch(200, key=2, hour=-3), stretch(5000)) == [200]
