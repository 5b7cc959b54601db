"""Rows of stretches are counted where they are stored."""

from __future__ import annotations

from lots_by_hand import GOOD, LOW, add_rows, lot_id_of, run_rows

from service.storage.lot_facts import read_lot_facts
from service.storage.row_counts import rows_of_stretches
from service.storage.store import Store


def test_stored_rows_are_counted_by_stretch_and_conflicting_ones_are_not(store: Store) -> None:
    first = run_rows("001", "run-1", [GOOD] * 4)
    add_rows(store, [*first, *run_rows("001", "run-2", [GOOD] * 3, hour=1)])
    add_rows(store, [first[0] | {"pressure_peak_mpa": LOW}, first[1]])
    lot_id = lot_id_of(store)
    stretches = store.read_now(lambda db: read_lot_facts(db, lot_id)).stretches
    keys = {each.run_id: each.stretch_key for each in stretches}
    found = store.read_now(lambda db: rows_of_stretches(db, [*keys.values(), 99_999]))
    assert found == {keys["run-1"]: 4, keys["run-2"]: 3}


def test_nothing_asked_is_nothing_counted(store: Store) -> None:
    assert store.read_now(lambda db: rows_of_stretches(db, [])) == {}
