"""What a change did is told by lot and unit, before and after, and marks what rested on it."""

from __future__ import annotations

from lots_by_hand import GOOD, LOT, add_rows, lot_id_of, lot_key_of, run_rows
from msgspec import UNSET
from uploads_by_hand import rows_of

from service.storage.store import Cursor, Store
from service.workflows.change_effects import make_change
from service.workflows.changes_of_rows import changes_of_rows
from service.workflows.reduce_lot import read_lot


def retire(db: Cursor, serial: str) -> None:
    db.execute(
        "INSERT INTO retired_stretches SELECT stretch_key, 'wd_1' FROM stretch_bases "
        "JOIN units USING (unit_key) WHERE unit_serial = $serial",
        {"serial": serial},
    )


def test_units_spoken_of_and_units_that_changed_are_told(store: Store) -> None:
    for number, serial in enumerate(("001", "002", "003")):
        rows = run_rows(serial, f"run-{serial}", [GOOD] * 3, station_no=number + 1)
        add_rows(store, rows)
    lot_key, lot_id = lot_key_of(store), lot_id_of(store)
    told = store.write_now(
        lambda db: make_change(
            db, "wd_1", [lot_key], {(LOT, "001"), (LOT, "002")}, lambda: retire(db, "001")
        )
    )
    [lot] = told
    assert (lot.lot_id, lot.decisions_withdrawn) == (lot_id, [])
    assert lot.before.evaluation_key != lot.after.evaluation_key
    first, second = lot.units
    assert (first.unit_serial, first.before.counted_cycles, first.after) == ("001", 3, UNSET)
    # Spoken of, although nothing of it changed.
    assert second.unit_serial == "002"
    assert second.before == second.after
    assert rows_of(store, "SELECT count(*) FROM change_effects") == [(1,)]
    assert rows_of(store, "SELECT lot_key, change_id FROM lot_changes") == [(lot_key, "wd_1")]
    assert store.read_now(lambda db: read_lot(db, lot_id)).facts.changes == ["wd_1"]


def test_a_lot_that_nothing_touched_has_no_changes(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD]))
    lot_id = lot_id_of(store)
    assert store.read_now(lambda db: changes_of_rows(db, read_lot(db, lot_id))) == []
