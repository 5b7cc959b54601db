"""What is known of each unit: inspections and events turned into counts, silence, repeats."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import msgspec
import pytest
from bodies import attribute_spec, failed, lives_table, run_outs
from lots_by_hand import (
    GOOD,
    LOT,
    LOW,
    Rows,
    add_rows,
    at,
    happen,
    inspect,
    list_sample,
    lot_id_of,
    register,
    run_rows,
    set_rig,
)
from uploads_by_hand import upload

from schemas.lots import NewUnit
from schemas.specs import Spec
from schemas.unit_evidence import UnitEvidence
from service.storage.lot_facts import read_lot_facts
from service.storage.store import Cursor, Store
from service.workflows.gather_evidence import gather_evidence
from service.workflows.stretch_summaries import summarise

SPEC = msgspec.convert(attribute_spec(), Spec)
"""Takes 48 hours of silence."""
FIRST_RUN = [GOOD, LOW, GOOD, GOOD, LOW, GOOD]
"""Counted cycles after each of them: 1, 1, 2, 3, 3, 4."""
Counts = list[tuple[int, int]]


def evidence(store: Store, spec: Spec = SPEC) -> dict[str, UnitEvidence]:
    """Evidence of the lot's units by serial."""
    lot_id = lot_id_of(store)

    def question(db: Cursor) -> list[UnitEvidence]:
        facts = read_lot_facts(db, lot_id)
        return gather_evidence(db, facts, spec, summarise(db, facts, spec, keep=False))

    return {each.unit_serial: each for each in store.read_now(question)}


def inspected(store: Store, serial: str = "001") -> Counts:
    """Counted and logged cycles before each inspection of a unit."""
    return [(e.counted_cycles, e.logged_cycles) for e in evidence(store)[serial].inspections]


def written(instant: datetime) -> str:
    return instant.isoformat()


def two_runs() -> Rows:
    """Unit 001 in a run of six cycles and, ten hours later, in one of three."""
    return [
        *run_rows("001", "run-1", FIRST_RUN),
        *run_rows("001", "run-2", [GOOD] * 3, hour=10),
    ]


# Inspections ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cycle_in_run", "expected"),
    [(1, (1, 1)), (2, (1, 2)), (4, (3, 4)), (5, (3, 5)), (6, (4, 6)), (60, (4, 6))],
)
def test_an_inspection_inside_a_run_counts_the_cycles_up_to_its_counter(
    store: Store, cycle_in_run: int, expected: tuple[int, int]
) -> None:
    add_rows(store, two_runs())
    place = {"rig_id": "RIG-A", "run_id": "run-1", "cycle_in_run": cycle_in_run}
    inspect(store, "001", after=place, inspected_at=written(at(1)))
    assert inspected(store) == [expected]


def test_a_counter_in_a_later_run_counts_the_runs_before_whole(store: Store) -> None:
    add_rows(store, two_runs())
    place = {"rig_id": "RIG-A", "run_id": "run-2", "cycle_in_run": 2}
    inspect(store, "001", after=place, inspected_at=written(at(11)))
    assert inspected(store) == [(4 + 2, 6 + 2)]


@pytest.mark.parametrize(
    ("hour", "cycles", "expected"),
    [
        (-1, 0, (0, 0)),  # before everything
        (0, 2, (1, 2)),  # at the start of cycle 2
        (0, 3.5, (2, 3)),  # between the starts of cycles 3 and 4
        (5, 0, (4, 6)),  # between the runs
        (10, 1.5, (5, 7)),
        (99, 0, (7, 9)),
    ],
)
def test_an_inspection_without_a_place_counts_the_cycles_begun_by_its_time(
    store: Store, hour: float, cycles: float, expected: tuple[int, int]
) -> None:
    add_rows(store, two_runs())
    inspect(store, "001", inspected_at=written(at(hour, cycles)))
    assert inspected(store) == [expected]


def test_an_instant_with_another_zone_is_the_same_instant(store: Store) -> None:
    add_rows(store, two_runs())
    # 06:00:08.75 UTC, three and a half cycles after the first instant.
    inspect(store, "001", inspected_at="2026-11-20T08:00:08.75+02:00")
    assert inspected(store) == [(2, 3)]


def test_a_run_that_is_not_known_yet_leaves_the_time_to_decide(store: Store) -> None:
    add_rows(store, two_runs())
    place = {"rig_id": "RIG-A", "run_id": "run-7", "cycle_in_run": 2}
    inspect(store, "001", after=place, inspected_at=written(at(5)))
    assert inspected(store) == [(4, 6)]


def test_places_in_runs_of_several_sensors_are_all_counted(store: Store) -> None:
    # 33 MPa is no reading on station 2: above one and a half times 20 MPa.
    add_rows(
        store,
        [
            *run_rows("001", "run-1", FIRST_RUN),
            *run_rows("001", "run-2", [GOOD] * 3, hour=10, station_no=2),
        ],
    )
    set_rig(store, sensors=[{"sensor_id": "S-2", "full_scale_mpa": 20.0, "station_no": 2}])
    for key, run_id, cycle_in_run in (("I-1", "run-1", 3), ("I-2", "run-2", 2)):
        place = {"rig_id": "RIG-A", "run_id": run_id, "cycle_in_run": cycle_in_run}
        inspect(store, "001", key, after=place, inspected_at=written(at(11)))
    assert inspected(store) == [(2, 3), (4, 8)]


def test_a_place_after_a_reset_is_in_the_lap_that_had_begun(store: Store) -> None:
    add_rows(
        store,
        [
            *run_rows("001", "run-1", [GOOD] * 5),
            *run_rows("001", "run-1", [GOOD] * 4, hour=2),
        ],
    )
    place = {"rig_id": "RIG-A", "run_id": "run-1", "cycle_in_run": 3}
    inspect(store, "001", "I-1", after=place, inspected_at=written(at(1)))
    inspect(store, "001", "I-2", after=place, inspected_at=written(at(3)))
    assert inspected(store) == [(3, 3), (5 + 3, 5 + 3)]


def test_inspections_go_to_their_own_unit(store: Store) -> None:
    add_rows(store, [*two_runs(), *run_rows("002", "run-3", [GOOD], hour=20)])
    inspect(store, "002", "I-2", inspected_at=written(at(30)))
    inspect(store, "001", "I-1", inspected_at=written(at(5)))
    assert (inspected(store, "001"), inspected(store, "002")) == ([(4, 6)], [(1, 1)])


# Events --------------------------------------------------------------------------------------


def events(store: Store) -> dict[str, list[tuple[str, int, int]]]:
    """Key, counted and logged cycles of the events that concern each unit."""
    return {
        serial: [(e.event.event_key, e.counted_cycles, e.logged_cycles) for e in each.events]
        for serial, each in evidence(store).items()
    }


def side_by_side(store: Store) -> None:
    """001 on station 1 and 002 on station 2 at one time; later 001 is on station 2."""
    add_rows(
        store,
        [
            *run_rows("001", "run-1", FIRST_RUN),
            *run_rows("002", "run-1", [GOOD] * 6, station_no=2),
            *run_rows("001", "run-2", [GOOD] * 3, hour=10, station_no=2),
        ],
    )


def test_a_removal_concerns_the_unit_that_the_station_ran(store: Store) -> None:
    side_by_side(store)
    removed = {"kind": "REMOVED", "cause": "SYMPTOM"}
    happen(store, "E-1", station_no=1, occurred_at=written(at(0, 3.5)), **removed)
    happen(store, "E-2", station_no=2, occurred_at=written(at(1)), **removed)
    happen(store, "E-3", station_no=2, occurred_at=written(at(11)), kind="REWORK")
    found = events(store)
    assert found["001"] == [("E-1", 2, 3), ("E-3", 7, 9)]
    # 002 was the last on station 2 at both instants that name it, as far as its own rows tell.
    assert [key for key, _, _ in found["002"]] == ["E-2", "E-3"]


def test_a_removal_before_a_units_first_row_or_elsewhere_is_not_its_own(store: Store) -> None:
    side_by_side(store)
    removed = {"kind": "REMOVED", "cause": "SYMPTOM"}
    happen(store, "E-1", station_no=1, occurred_at=written(at(-1)), **removed)
    happen(store, "E-2", station_no=3, occurred_at=written(at(1)), **removed)
    happen(store, "E-3", station_no=1, occurred_at=written(at(11)), **removed)
    happen(store, "E-4", occurred_at=written(at(1)), **removed)
    happen(store, "E-5", station_no=1, rig_id="RIG-B", occurred_at=written(at(1)), **removed)
    assert events(store) == {"001": [], "002": []}


def test_an_event_that_names_a_unit_is_that_units_wherever_it_was(store: Store) -> None:
    side_by_side(store)
    happen(
        store, "E-1", serial="002", station_no=1, kind="REMOVED", cause="SCHEDULED",
        occurred_at=written(at(0, 2)),
    )  # fmt: skip
    assert events(store) == {"001": [], "002": [("E-1", 2, 2)]}


def test_a_stop_or_a_note_of_the_rig_alone_is_no_units_event(store: Store) -> None:
    side_by_side(store)
    for key, kind in (("E-1", "STOPPED"), ("E-2", "NOTE")):
        happen(store, key, kind=kind, station_no=1, occurred_at=written(at(0, 3)))
    assert events(store) == {"001": [], "002": []}


def met_low_fluid(store: Store) -> dict[str, list[int]]:
    """Counted cycles of each unit at the low-fluid stops that it met."""
    return {
        serial: [each.counted_cycles for each in found.low_fluid_stops]
        for serial, found in evidence(store).items()
    }


def test_a_low_fluid_stop_is_told_to_every_unit_that_was_on_the_supply(store: Store) -> None:
    side_by_side(store)
    set_rig(store, stop_codes={"LOW_OIL": "LOW_FLUID"})
    # Ten seconds after the last cycle of both first runs; the second event meets nobody.
    happen(store, "E-1", raw_code="LOW_OIL", occurred_at=written(at(0, 10)))
    happen(store, "E-2", raw_code="LOW_OIL", occurred_at=written(at(5)))
    assert met_low_fluid(store) == {"001": [4], "002": [6]}


def test_a_low_fluid_stop_in_the_rows_of_one_unit_is_told_to_its_neighbours(store: Store) -> None:
    rows = run_rows("001", "run-1", FIRST_RUN)
    rows[-1]["stop_reason"] = "LOW_FLUID"
    add_rows(store, [*rows, *run_rows("002", "run-1", [GOOD] * 6, station_no=2)])
    assert met_low_fluid(store) == {"001": [4], "002": [6]}
    set_rig(store, supplies=[{"station_no": 2, "supply_id": "P-2"}])
    assert met_low_fluid(store) == {"001": [4], "002": []}


# Silence and stations ------------------------------------------------------------------------


@pytest.mark.parametrize(("hour", "overdue"), [(47.9, False), (48.1, True)])
def test_a_unit_is_overdue_when_its_rig_went_on_for_longer_than_allowed(
    store: Store, hour: float, overdue: bool
) -> None:
    add_rows(store, run_rows("001", "run-1", FIRST_RUN))
    add_rows(store, run_rows("901", "run-2", [GOOD], hour=hour, lot_number="CC25-0118"))
    assert evidence(store)["001"].is_overdue is overdue


def test_another_rigs_clock_makes_nobody_overdue(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", FIRST_RUN))
    late: dict[str, Any] = {"rig_id": "RIG-B", "lot_number": "CC25-0118"}
    add_rows(store, run_rows("901", "run-2", [GOOD], hour=400, **late))
    assert not evidence(store)["001"].is_overdue


def test_a_moved_units_silence_is_told_by_the_rig_that_it_was_moved_to(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", FIRST_RUN))
    add_rows(store, run_rows("001", "run-2", [GOOD], hour=10, rig_id="RIG-B"))
    add_rows(store, run_rows("002", "run-3", [GOOD], hour=200))
    found = evidence(store)
    assert (found["001"].is_overdue, found["002"].is_overdue) == (False, False)
    add_rows(store, run_rows("003", "run-4", [GOOD], hour=100, rig_id="RIG-B"))
    assert evidence(store)["001"].is_overdue


def test_only_the_unit_that_a_station_ran_last_is_the_newest_on_it(store: Store) -> None:
    add_rows(
        store,
        [
            *run_rows("001", "run-1", [GOOD] * 3),
            *run_rows("002", "run-2", [GOOD] * 3, hour=1),
            *run_rows("003", "run-1", [GOOD] * 3, station_no=2),
        ],
    )
    newest = {serial: each.is_newest_on_station for serial, each in evidence(store).items()}
    assert newest == {"001": False, "002": True, "003": True}
    add_rows(store, run_rows("901", "run-4", [GOOD], hour=2, lot_number="CC25-0118"))
    newest = {serial: each.is_newest_on_station for serial, each in evidence(store).items()}
    assert newest == {"001": False, "002": False, "003": True}


def test_a_unit_that_left_a_station_is_newest_only_where_it_is_now(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3))
    add_rows(store, run_rows("001", "run-2", [GOOD] * 3, hour=1, station_no=2))
    add_rows(store, run_rows("002", "run-3", [GOOD] * 3, hour=2, station_no=2))
    assert not evidence(store)["001"].is_newest_on_station


# The sample, uploaded lives, contradictions --------------------------------------------------


def test_without_a_list_every_serial_seen_is_the_sample(store: Store) -> None:
    add_rows(store, [*two_runs(), *run_rows("002", "run-3", [GOOD], hour=20)])
    assert {serial: each.listed for serial, each in evidence(store).items()} == {
        "001": True,
        "002": True,
    }
    list_sample(store, NewUnit(unit_serial="002"), NewUnit(unit_serial="003"))
    found = evidence(store)
    assert {serial: each.listed for serial, each in found.items()} == {
        "001": False,
        "002": True,
        "003": True,
    }
    unstarted = found["003"]
    assert (unstarted.stretches, unstarted.is_overdue, unstarted.is_newest_on_station) == (
        [],
        False,
        False,
    )


def test_uploaded_lives_go_to_their_unit(store: Store) -> None:
    upload(store, lives_table([failed(LOT, "001", 800), *run_outs(LOT, ["002"])]))
    upload(store, lives_table([failed(LOT, "001", 900)]))
    found = {
        serial: [(life.ending, life.cycles) for life in each.declared]
        for serial, each in evidence(store).items()
    }
    assert found == {"001": [("FAILED", 800), ("FAILED", 900)], "002": [("RUN_OUT", 1000)]}


def test_the_samples_batch_wins_over_that_of_an_uploaded_life(store: Store) -> None:
    register(store)
    list_sample(
        store, NewUnit(unit_serial="001", component_batch="B-7"), NewUnit(unit_serial="002")
    )
    upload(store, lives_with_batch(["001", "002", "003"], "B-9"))
    assert {serial: each.component_batch for serial, each in evidence(store).items()} == {
        "001": "B-7",
        "002": "B-9",
        "003": "B-9",
    }


def lives_with_batch(serials: list[str], batch: str) -> dict[str, Any]:
    """Columns of a lives table of run-outs with a component batch."""
    count = len(serials)
    return {
        "lot_number": [LOT] * count,
        "unit_serial": serials,
        "ending": ["RUN_OUT"] * count,
        "cycles": [1000] * count,
        "component_batch": [batch] * count,
    }


def test_contradicting_rows_give_the_unit_two_more_readings(store: Store) -> None:
    add_rows(store, [*two_runs(), *run_rows("002", "run-3", [GOOD], hour=20)])
    add_rows(store, run_rows("001", "run-1", [LOW, GOOD]))
    found = evidence(store)

    def counted(readings: list[Any]) -> list[int]:
        return [each.counted_cycles for each in readings]

    disputed = found["001"]
    # First two cycles: GOOD or LOW, LOW or GOOD; the other four count three, and run-2 three.
    assert counted(disputed.stretches) == [4, 3]
    assert counted(disputed.kindest) == [5, 3]
    assert counted(disputed.harshest) == [3, 3]
    assert (found["002"].kindest, found["002"].harshest) == ([], [])


def test_units_come_by_serial_and_stretches_in_their_order(store: Store) -> None:
    add_rows(store, run_rows("002", "run-9", [GOOD]))
    add_rows(store, run_rows("001", "run-2", [GOOD] * 3, hour=10))
    add_rows(store, run_rows("001", "run-1", FIRST_RUN, station_no=2))
    found = evidence(store)
    assert list(found) == ["001", "002"]
    assert [each.run_id for each in found["001"].stretches] == ["run-1", "run-2"]


# Rows dated ahead of their receipt -----------------------------------------------------------


def silent(store: Store) -> dict[str, bool]:
    return {serial: each.is_overdue for serial, each in evidence(store).items()}


def test_a_row_dated_far_ahead_makes_no_other_unit_overdue(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3), received_at=at(1))
    wrong = run_rows("002", "run-2", [GOOD] * 3, station_no=2)
    wrong[-1]["started_at"] = at(24 * 3650)
    add_rows(store, wrong, received_at=at(1))
    assert silent(store) == {"001": False, "002": False}
    # Honest rows three days on: both have been silent since, the one that dated ahead too.
    add_rows(store, run_rows("003", "run-3", [GOOD], hour=72, station_no=3), received_at=at(73))
    assert silent(store) == {"001": True, "002": True, "003": False}


def test_a_row_dated_far_ahead_leaves_the_station_to_the_run_that_came_after(
    store: Store,
) -> None:
    wrong = run_rows("001", "run-1", [GOOD] * 3)
    wrong[-1]["started_at"] = at(24 * 3650)
    add_rows(store, wrong, received_at=at(1))
    add_rows(store, run_rows("002", "run-2", [GOOD] * 3, hour=2), received_at=at(3))
    newest = {serial: each.is_newest_on_station for serial, each in evidence(store).items()}
    assert newest == {"001": False, "002": True}


# How the cycles before a place were tested ---------------------------------------------------


def test_the_cycles_before_an_inspection_are_told_with_their_pressures(store: Store) -> None:
    add_rows(store, two_runs())
    place = {"rig_id": "RIG-A", "run_id": "run-2", "cycle_in_run": 2}
    inspect(store, "001", after=place, inspected_at=written(at(11)))
    [found] = evidence(store)["001"].inspections
    assert (found.up_to.test_cycles, found.up_to.under_pressure_cycles) == (8, 2)
