"""Rows of a file stored where corrections say, in one file or over several."""

from __future__ import annotations

import msgspec
from lots_by_hand import GOOD, LOT, add_rows, run_rows
from stores import stamp
from uploads_by_hand import rows_of

from schemas.corrections import NewCorrection
from service.storage import corrections
from service.storage.arrivals_written import StretchKeys
from service.storage.store import Cursor, Store

_ROWS = (
    "SELECT unit_serial, cycle_in_run FROM cycle_rows JOIN stretch_bases USING (stretch_key) "
    "JOIN units USING (unit_key) ORDER BY ALL"
)


def correct(store: Store, key: str, written: str, belongs_to: str, **scope: int) -> None:
    body = msgspec.convert(
        {
            "correction_key": key,
            "written": {"lot_number": LOT, "unit_serial": written},
            "belongs_to": {"lot_number": LOT, "unit_serial": belongs_to},
            "meaning": "corrected",
            "reason": "label read again",
            "scope": scope,
        },
        NewCorrection,
    )
    store.write_now(lambda db: corrections.add_correction(db, body, stamp()))


def test_a_corrected_serial_and_the_right_one_in_one_file_are_one_stretch(store: Store) -> None:
    correct(store, "c1", "O01", "001")
    rows = run_rows("O01", "run-1", [GOOD] * 3) + run_rows("001", "run-1", [GOOD] * 5)
    receipt = add_rows(store, rows)
    assert (receipt.stored_rows, receipt.duplicate_rows) == (5, 3)
    assert receipt.row_count == 8
    assert rows_of(store, _ROWS) == [("001", cycle) for cycle in range(1, 6)]
    assert rows_of(store, "SELECT count(*) FROM upload_stretches") == [(1,)]


def test_a_part_of_a_stretch_goes_to_another_unit_and_its_tallies_with_it(store: Store) -> None:
    correct(store, "c1", "001", "002", first_cycle_in_run=3)
    add_rows(store, run_rows("001", "run-1", [GOOD] * 5))
    assert rows_of(store, _ROWS) == [("001", 1), ("001", 2), ("002", 3), ("002", 4), ("002", 5)]
    assert rows_of(
        store,
        "SELECT unit_serial, stored_rows, first_cycle_in_run, last_cycle_in_run "
        "FROM upload_stretches JOIN stretch_bases USING (stretch_key) "
        "JOIN units USING (unit_key) ORDER BY 1",
    ) == [("001", 2, 1, 2), ("002", 3, 3, 5)]


def test_rows_elsewhere_in_the_file_take_the_quick_way(store: Store) -> None:
    correct(store, "c1", "O01", "001")
    rows = run_rows("O01", "run-1", [GOOD] * 3) + run_rows("002", "run-2", [GOOD] * 4, station_no=2)
    receipt = add_rows(store, rows)
    assert receipt.stored_rows == 7
    assert [lot.unit_count for lot in receipt.lots] == [2]
    assert rows_of(
        store,
        "SELECT DISTINCT unit_serial FROM upload_stretches "
        "JOIN stretch_bases USING (stretch_key) JOIN units USING (unit_key) ORDER BY 1",
    ) == [("001",), ("002",)]


def test_only_stretches_that_got_rows_are_stored(store: Store) -> None:
    def change(db: Cursor) -> tuple[int, int]:
        keys = StretchKeys(db, stamp().at)
        used = keys.key(("RIG-A", "run-1", 1), LOT, "001")
        unused = keys.key(("RIG-A", "run-1", 1), LOT, "002")
        assert keys.key(("RIG-A", "run-1", 1), LOT, "001") == used
        keys.add_used({used})
        keys.add_used({used})
        assert keys.lot_and_unit(used) != keys.lot_and_unit(unused)
        return used, unused

    used, unused = store.write_now(change)
    assert used != unused
    assert rows_of(store, "SELECT stretch_key FROM taken_stretches") == [(used,)]
    again = store.write_now(
        lambda db: StretchKeys(db, stamp().at, ["run-1"]).key(("RIG-A", "run-1", 1), LOT, "001")
    )
    assert again == used
