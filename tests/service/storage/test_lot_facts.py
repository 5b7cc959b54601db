"""Everything on record about one lot, and nothing about another."""

from __future__ import annotations

from datetime import timedelta

import pytest
from bodies import failed, lives_table, run_outs
from lots_by_hand import (
    FIRST_START,
    GOOD,
    LOT,
    LOW,
    SECONDS_A_CYCLE,
    Rows,
    add_rows,
    approved,
    assign,
    at,
    happen,
    inspect,
    list_sample,
    lot_id_of,
    register,
    run_rows,
    set_rig,
    unit_key_of,
)
from uploads_by_hand import RECEIVED, upload

from schemas.lots import NewUnit
from service.errors import NotFound
from service.storage.lot_facts import LotFacts, read_lot_facts, read_texts
from service.storage.store import Store

OTHER_LOT = "CC25-0118"


def facts_of(store: Store, lot_number: str = LOT) -> LotFacts:
    lot_id = lot_id_of(store, lot_number)
    return store.read_now(lambda db: read_lot_facts(db, lot_id))


def rows_keys(store: Store) -> dict[str, str]:
    return {each.run_id: each.rows_key for each in facts_of(store).stretches}


def two_runs() -> Rows:
    return [*run_rows("001", "run-1", [GOOD] * 4), *run_rows("002", "run-2", [GOOD] * 4, hour=1)]


def test_the_rows_key_of_a_stretch_changes_with_its_rows_only(store: Store) -> None:
    add_rows(store, two_runs())
    first = rows_keys(store)
    add_rows(store, run_rows("002", "run-2", [GOOD] * 5, hour=1))
    second = rows_keys(store)
    assert second["run-2"] != first["run-2"]
    assert second["run-1"] == first["run-1"]
    add_rows(store, run_rows("003", "run-3", [GOOD]))
    assert {run: key for run, key in rows_keys(store).items() if run != "run-3"} == second


def test_the_rows_key_does_not_change_with_rows_that_came_before(store: Store) -> None:
    add_rows(store, two_runs())
    before = rows_keys(store)
    add_rows(store, two_runs(), compression="gzip")
    add_rows(store, two_runs()[2:6])
    assert rows_keys(store) == before


def test_the_rows_key_changes_with_rows_that_contradict(store: Store) -> None:
    add_rows(store, two_runs())
    before = rows_keys(store)
    receipt = add_rows(store, [{**two_runs()[1], "pressure_peak_mpa": LOW}])
    assert (receipt.stored_rows, receipt.conflicting_rows) == (0, 1)
    after = rows_keys(store)
    assert after["run-1"] != before["run-1"]
    assert after["run-2"] == before["run-2"]


def test_a_stretch_reaches_from_its_first_row_to_its_last_over_all_uploads(store: Store) -> None:
    run = run_rows("001", "run-1", [GOOD] * 9)
    add_rows(store, run[3:6])
    add_rows(store, run[6:])
    add_rows(store, run[:3])
    [stretch] = facts_of(store).stretches
    naive = FIRST_START.replace(tzinfo=None)
    assert stretch.first_started_at == naive + timedelta(seconds=SECONDS_A_CYCLE)
    assert stretch.last_started_at == naive + timedelta(seconds=9 * SECONDS_A_CYCLE)
    assert (stretch.rig_id, stretch.run_id, stretch.station_no) == ("RIG-A", "run-1", 1)
    assert stretch.unit_key == unit_key_of(store, "001")


def test_the_clock_of_a_station_is_its_newest_row_of_whatever_lot(store: Store) -> None:
    add_rows(store, two_runs())
    add_rows(store, run_rows("003", "run-3", [GOOD], hour=1, station_no=2))
    own = facts_of(store)
    assert {each.station_no: each.stretch_key for each in own.stations} == {
        1: own.stretches[1].stretch_key,
        2: own.stretches[2].stretch_key,
    }
    add_rows(store, run_rows("901", "run-4", [GOOD] * 2, hour=8, lot_number=OTHER_LOT))
    add_rows(store, run_rows("901", "run-5", [GOOD], hour=9, lot_number=OTHER_LOT, rig_id="RIG-B"))
    found = facts_of(store)
    [taken_over] = [each for each in facts_of(store, OTHER_LOT).stretches if each.rig_id == "RIG-A"]
    assert [(e.rig_id, e.station_no, e.stretch_key) for e in found.stations] == [
        ("RIG-A", 1, taken_over.stretch_key),
        ("RIG-A", 2, own.stretches[2].stretch_key),
    ]
    assert found.stations[0].last_started_at == at(8, 2).replace(tzinfo=None)
    # An older run that comes late does not turn a clock back.
    add_rows(store, run_rows("902", "run-0", [GOOD], hour=-5, lot_number=OTHER_LOT))
    assert facts_of(store).stations == found.stations


def test_inspections_come_with_their_unit_and_only_of_this_lot(store: Store) -> None:
    add_rows(store, two_runs())
    add_rows(store, run_rows("001", "run-3", [GOOD], lot_number=OTHER_LOT, station_no=2))
    inspect(store, "002", "I-2", leak_class=3)
    inspect(store, "001", "I-3")
    inspect(store, "001", "I-1", purpose="SCHEDULED")
    inspect(store, "001", "I-0", lot_number=OTHER_LOT)
    found = [
        (key, each.inspection_key, each.leak_class) for key, each in facts_of(store).inspections
    ]
    first, second = unit_key_of(store, "001"), unit_key_of(store, "002")
    assert found == [(first, "I-1", 0), (second, "I-2", 3), (first, "I-3", 0)]
    [(other_key, other)] = facts_of(store, OTHER_LOT).inspections
    assert (other_key, other.inspection_key) == (unit_key_of(store, "001", OTHER_LOT), "I-0")


def test_events_and_settings_are_those_of_the_lots_rigs(store: Store) -> None:
    add_rows(store, two_runs())
    happen(store, "E-2")
    happen(store, "E-1", serial="002", kind="REMOVED", cause="SCHEDULED")
    happen(store, "E-0", rig_id="RIG-B")
    set_rig(store, "RIG-A", time_zone="Europe/Berlin")
    set_rig(store, "RIG-A", stop_codes={"DOOR_OPEN": "RIG_STOP"})
    set_rig(store, "RIG-B", time_zone="Europe/Berlin")
    facts = facts_of(store)
    assert [(key, each.event_key) for key, each in facts.events] == [
        (unit_key_of(store, "002"), "E-1"),
        (None, "E-2"),
    ]
    assert list(facts.rigs) == ["RIG-A"]
    assert (facts.rigs["RIG-A"].stop_codes, facts.rigs["RIG-A"].time_zone) == (
        {"DOOR_OPEN": "RIG_STOP"},
        "UTC",
    )


def test_units_stand_by_serial_and_say_whether_the_sample_names_them(store: Store) -> None:
    add_rows(store, two_runs())
    list_sample(
        store, NewUnit(unit_serial="002", component_batch="B-7"), NewUnit(unit_serial="000")
    )
    found = [(e.unit_serial, e.listed, e.component_batch) for e in facts_of(store).units]
    assert found == [("000", True, None), ("001", False, None), ("002", True, "B-7")]


def test_uploaded_lives_are_told_as_they_came(store: Store) -> None:
    upload(store, lives_table([failed(LOT, "001", 800), *run_outs(LOT, ["002"])]))
    upload(store, lives_table([failed(LOT, "001", 900), *run_outs(OTHER_LOT, ["001"])]))
    facts = facts_of(store)
    first, second = unit_key_of(store, "001"), unit_key_of(store, "002")
    assert [(e.unit_key, e.ending, e.cycles) for e in facts.declared] == [
        (first, "FAILED", 800),
        (first, "FAILED", 900),
        (second, "RUN_OUT", 1000),
    ]
    assert (facts.stretches, facts.stations, facts.events, facts.rigs) == ([], [], [], {})


def test_a_lot_tells_its_registration_its_specification_and_its_last_upload(store: Store) -> None:
    add_rows(store, two_runs())
    seen = facts_of(store)
    assert (seen.lot_number, seen.registered, seen.assignment) == (LOT, False, None)
    assert seen.received_at == RECEIVED
    register(store)
    version = approved(store)
    assign(store, version)
    facts = facts_of(store)
    assert facts.registered and facts.assignment is not None
    assert facts.assignment.hash == version.hash
    register(store, OTHER_LOT)
    empty = facts_of(store, OTHER_LOT)
    assert (empty.units, empty.stretches, empty.declared, empty.received_at) == ([], [], [], None)


def test_an_upload_of_nothing_but_repeats_does_not_count_as_the_last(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Equal facts must give equal answers, and the last upload is told in the answer.
    add_rows(store, two_runs())
    upload(store, lives_table(run_outs(LOT, ["009"])))
    later = RECEIVED + timedelta(hours=1)
    monkeypatch.setattr("uploads_by_hand.RECEIVED", later)
    add_rows(store, two_runs()[2:6])
    upload(store, lives_table(run_outs(LOT, ["009"])))
    assert facts_of(store).received_at == RECEIVED
    add_rows(store, [{**two_runs()[1], "pressure_peak_mpa": LOW}])
    assert facts_of(store).received_at == later


def test_a_lot_that_nobody_named_is_not_found(store: Store) -> None:
    with pytest.raises(NotFound, match="lot_nowhere"):
        store.read_now(lambda db: read_lot_facts(db, "lot_nowhere"))


def test_texts_of_the_rows_are_found_by_their_key(store: Store) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 2, stop_reason="DOOR_OPEN", station_mode="WARM_UP")
    add_rows(store, rows)
    assert {"DOOR_OPEN", "WARM_UP"} <= set(store.read_now(read_texts).values())
