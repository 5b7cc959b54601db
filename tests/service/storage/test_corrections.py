"""Corrections and the lots they touch are written once and read back as they were signed."""

from __future__ import annotations

import msgspec
import pytest
from lots_by_hand import GOOD, LOT, add_rows, lot_key_of, register, run_rows
from stores import stamp

from schemas.corrections import LotEffect, NewCorrection
from schemas.dispositions import VerdictStanding
from service.storage import corrections
from service.storage.store import Cursor, Store

STANDING = VerdictStanding(verdict="CONTINUE", open_hold_count=0, evaluation_key="sha256:0")


def body(key: str, written_lot: str = LOT, to_lot: str = LOT) -> NewCorrection:
    return msgspec.convert(
        {
            "correction_key": key,
            "written": {"lot_number": written_lot, "unit_serial": "O01"},
            "belongs_to": {"lot_number": to_lot, "unit_serial": "001"},
            "meaning": "corrected",
            "reason": "label read again",
        },
        NewCorrection,
    )


@pytest.fixture
def lot_key(store: Store) -> int:
    register(store)
    return lot_key_of(store)


def record(store: Store, lot_key: int, key: str = "c1") -> None:
    change_id = corrections.correction_id(key)

    def change(db: Cursor) -> None:
        corrections.add_correction(db, body(key), stamp())
        corrections.touch_lots(db, change_id, {lot_key: ["unit_b", "unit_a"]})
        [lot_id] = [row[0] for row in db.execute("SELECT lot_id FROM lots").fetchall()]
        effect = LotEffect(lot_id=lot_id, lot_number=LOT, before=STANDING, after=STANDING, units=[])
        corrections.add_effects(db, change_id, [effect])

    store.write_now(change)


def test_a_correction_is_read_back_with_what_it_did(store: Store, lot_key: int) -> None:
    assert store.read_now(lambda db: corrections.find_correction(db, "c1")) is None
    record(store, lot_key)
    found = store.read_now(lambda db: corrections.find_correction(db, "c1"))
    assert found is not None
    assert (found.correction, found.recorded_by) == (body("c1"), "Test bench")
    assert [lot.lot_number for lot in found.lots] == [LOT]
    for asked in (lot_key, None):
        [(_, listed)] = store.read_now(
            lambda db, key=asked: corrections.list_corrections(db, key, after=0, limit=9)
        )
        assert listed == found
    assert store.read_now(lambda db: corrections.list_corrections(db, 99, after=0, limit=9)) == []


def test_a_lot_knows_its_changes_and_their_units(store: Store, lot_key: int) -> None:
    assert store.read_now(lambda db: corrections.changes_of_lot(db, lot_key)) == []
    record(store, lot_key, "c1")
    record(store, lot_key, "c2")
    ids = [corrections.correction_id(key) for key in ("c1", "c2")]
    assert store.read_now(lambda db: corrections.changes_of_lot(db, lot_key)) == ids
    first, second = store.read_now(lambda db: corrections.units_changed(db, lot_key))
    assert (first.record_id, first.unit_ids) == ("c1", ["unit_a", "unit_b"])
    assert (first.is_withdrawal, first.entry_no < second.entry_no) == (False, True)
    told = store.read_now(lambda db: corrections.told_changes(db, lot_key))
    assert [(each.kind, each.correction_key) for each in told] == [
        ("SERIAL_CORRECTED", "c1"),
        ("SERIAL_CORRECTED", "c2"),
    ]


def test_corrections_are_found_by_the_lot_that_was_written(store: Store, lot_key: int) -> None:
    record(store, lot_key)
    assert store.read_now(lambda db: corrections.corrections_about(db, [LOT])) == [body("c1")]
    assert store.read_now(lambda db: corrections.corrections_about(db, ["CC25-0118"])) == []


def test_lots_are_tied_over_any_number_of_steps(store: Store) -> None:
    pairs = (("A", "B"), ("C", "B"), ("C", "D"), ("X", "Y"))

    def change(db: Cursor) -> None:
        for number, (written, to_lot) in enumerate(pairs):
            corrections.add_correction(db, body(f"c{number}", written, to_lot), stamp())

    store.write_now(change)
    assert store.read_now(lambda db: corrections.linked_lots(db, ["A"])) == {"A", "B", "C", "D"}
    assert store.read_now(lambda db: corrections.linked_lots(db, ["Z"])) == {"Z"}


def test_a_unit_is_emptied_once_nothing_names_it(store: Store, lot_key: int) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD]))
    assert store.read_now(lambda db: corrections.emptied_units(db, lot_key)) == set()
    store.write_now(
        lambda db: db.execute(
            "INSERT INTO retired_stretches SELECT stretch_key, 'wd_1' FROM stretch_bases"
        )
    )
    emptied = store.read_now(lambda db: corrections.emptied_units(db, lot_key))
    assert len(emptied) == 1
    assert store.read_now(lambda db: corrections.emptied_counts(db, [lot_key])) == {}
    store.write_now(lambda db: corrections.touch_lots(db, "wd_1", {lot_key: []}))
    assert store.read_now(lambda db: corrections.emptied_counts(db, [lot_key])) == {lot_key: 1}
