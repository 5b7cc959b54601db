"""Units in one place at one time, from stored rows to what is asked about them."""

from __future__ import annotations

from typing import Any

import msgspec
from bodies import attribute_spec
from lots_by_hand import GOOD, LOT, Rows, add_rows, at, lot_id_of, run_rows

from schemas.specs import Spec
from schemas.unit_evidence import UnitEvidence
from service.storage.lot_facts import read_lot_facts
from service.storage.store import Cursor, Store
from service.workflows.gather_evidence import gather_evidence
from service.workflows.stretch_summaries import summarise

SPEC = msgspec.convert(attribute_spec(), Spec)
OTHER_LOT = "CC25-0118"
RECEIVED = at(24)


def evidence(store: Store, lot_number: str = LOT) -> dict[str, UnitEvidence]:
    lot_id = lot_id_of(store, lot_number)

    def question(db: Cursor) -> list[UnitEvidence]:
        facts = read_lot_facts(db, lot_id)
        return gather_evidence(db, facts, SPEC, summarise(db, facts, SPEC, keep=False))

    return {each.unit_serial: each for each in store.read_now(question)}


def conflicts(store: Store, lot_number: str = LOT) -> dict[str, list[tuple[Any, Any]]]:
    """Run and other unit of each conflict, by serial."""
    return {
        serial: [(c.evidence.run_id, c.evidence.other_unit_serial) for c in each.identity_conflicts]
        for serial, each in evidence(store, lot_number).items()
    }


def of_other_lot(rows: Rows) -> Rows:
    return [row | {"lot_number": OTHER_LOT} for row in rows]


def test_a_serial_that_was_not_changed_in_time_puts_both_units_in_doubt(store: Store) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 20)
    late = run_rows("002", "run-2", [GOOD] * 20, hour=20 / 1440)
    early = run_rows("003", "run-3", [GOOD] * 5, hour=18 / 1440)
    add_rows(store, [*rows, *late, *early], received_at=RECEIVED)
    assert conflicts(store) == {
        "001": [("run-1", "003")],
        "002": [("run-2", "003")],
        "003": [("run-3", "001"), ("run-3", "002")],
    }


def test_the_next_unit_may_begin_with_the_next_cycle(store: Store) -> None:
    rows = [
        *run_rows("001", "run-1", [GOOD] * 20),
        *run_rows("002", "run-2", [GOOD] * 20, hour=20 / 1440),
    ]
    add_rows(store, rows, received_at=RECEIVED)
    assert conflicts(store) == {"001": [], "002": []}


def test_units_of_two_lots_on_one_station_are_seen_from_both_lots(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 20), received_at=RECEIVED)
    assert conflicts(store) == {"001": []}
    other = of_other_lot(run_rows("501", "run-5", [GOOD] * 20, hour=10 / 1440))
    add_rows(store, other, received_at=RECEIVED)
    assert conflicts(store) == {"001": [("run-1", "501")]}
    assert conflicts(store, OTHER_LOT) == {"501": [("run-5", "001")]}


def test_one_unit_on_two_stations_at_one_time_is_in_doubt_on_both(store: Store) -> None:
    rows = [
        *run_rows("001", "run-1", [GOOD] * 20),
        *run_rows("001", "run-2", [GOOD] * 20, hour=10 / 1440, station_no=2),
        *run_rows("001", "run-3", [GOOD] * 20, hour=5, station_no=2),
    ]
    add_rows(store, rows, received_at=RECEIVED)
    found = evidence(store)["001"].identity_conflicts
    assert [each.evidence.run_id for each in found] == ["run-1", "run-2"]
    assert [each.evidence.station_no for each in found] == [1, 2]


def test_a_row_dated_far_ahead_touches_no_later_unit(store: Store) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 20)
    rows[-1]["started_at"] = at(24 * 3650)
    add_rows(store, rows, received_at=RECEIVED)
    later = [
        *run_rows("002", "run-2", [GOOD] * 20, hour=2),
        *of_other_lot(run_rows("501", "run-5", [GOOD] * 20, hour=4)),
    ]
    add_rows(store, later, received_at=RECEIVED)
    assert conflicts(store) == {"001": [], "002": []}
    assert conflicts(store, OTHER_LOT) == {"501": []}
