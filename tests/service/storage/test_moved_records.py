"""Inspections and events follow a unit that was named wrongly, over lots and back again."""

from __future__ import annotations

import msgspec
from lots_by_hand import GOOD, LOT, add_rows, inspect, lot_key_of, run_rows, unit_key_of

from schemas.corrections import NewCorrection
from service.storage import moved_records
from service.storage.store import Cursor, Store

OTHER = "CC25-0118"


def body(written: str | None, belongs_to: str | None, to_lot: str = LOT) -> NewCorrection:
    return msgspec.convert(
        {
            "correction_key": "c1",
            "written": {"lot_number": LOT, "unit_serial": written},
            "belongs_to": {"lot_number": to_lot, "unit_serial": belongs_to},
            "meaning": "corrected",
            "reason": "label read again",
        },
        NewCorrection,
    )


def move(store: Store, correction: NewCorrection) -> None:
    def change(db: Cursor) -> None:
        serials = moved_records.recorded_serials(db, correction)
        moved_records.move_records(db, correction, serials, "cor_1")

    store.write_now(change)


def inspected(store: Store, lot_number: str = LOT) -> list[tuple[int, str]]:
    lot_key = lot_key_of(store, lot_number)
    found = store.read_now(
        lambda db: moved_records.inspections_now(db, lot_key, moved_records.unit_moves(db))
    )
    return [(unit_key, each.inspection_key) for unit_key, each in found]


def test_inspections_follow_within_a_lot_and_come_back(store: Store) -> None:
    rows = run_rows("O01", "run-1", [GOOD]) + run_rows("002", "run-2", [GOOD], station_no=2)
    add_rows(store, rows)
    inspect(store, "O01", "I-1")
    inspect(store, "002", "I-2")
    old, other = unit_key_of(store, "O01"), unit_key_of(store, "002")
    assert inspected(store) == [(old, "I-1"), (other, "I-2")]
    move(store, body("O01", "001"))
    new = unit_key_of(store, "001")
    assert inspected(store) == [(new, "I-1"), (other, "I-2")]
    move(store, body("O01", "O01"))
    assert store.read_now(moved_records.unit_moves) == {}
    assert inspected(store) == [(old, "I-1"), (other, "I-2")]


def test_inspections_of_a_whole_lot_go_to_the_other_lot(store: Store) -> None:
    rows = run_rows("001", "run-1", [GOOD]) + run_rows("002", "run-2", [GOOD], station_no=2)
    add_rows(store, rows + run_rows("009", "run-3", [GOOD], hour=2, lot_number=OTHER))
    inspect(store, "001", "I-1")
    inspect(store, "009", "I-9", lot_number=OTHER)
    move(store, body(None, None, OTHER))
    assert inspected(store) == []
    assert inspected(store, OTHER) == [
        (unit_key_of(store, "001", OTHER), "I-1"),
        (unit_key_of(store, "009", OTHER), "I-9"),
    ]


def test_a_unit_without_records_moves_nothing(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD]))
    move(store, body("001", "002"))
    assert store.read_now(moved_records.unit_moves) == {}
