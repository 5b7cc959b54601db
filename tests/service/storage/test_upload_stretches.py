"""Which stretches an upload added rows to, whatever else it repeated."""

from __future__ import annotations

from lots_by_hand import GOOD, LOW, add_rows, lot_key_of, run_rows

from service.storage.store import Store
from service.storage.upload_stretches import stretches_of_upload


def named(store: Store, upload_id: str) -> list[tuple[str, str, str, int, str, int]]:
    found = store.read_now(lambda db: stretches_of_upload(db, upload_id))
    return [
        (e.lot_number, e.rig_id, e.run_id, e.station_no, e.unit_serial, e.stored_rows)
        for e in found
    ]


def test_they_come_by_lot_rig_run_and_station_with_the_rows_stored(store: Store) -> None:
    rows = [
        *run_rows("003", "run-2", [GOOD] * 2),
        *run_rows("001", "run-1", [GOOD] * 3, station_no=2),
        *run_rows("002", "run-1", [GOOD] * 4),
        *run_rows("001", "run-0", [GOOD] * 5, rig_id="RIG-B"),
        *run_rows("001", "run-9", [GOOD] * 6, lot_number="CC25-0116"),
    ]
    receipt = add_rows(store, rows)
    assert named(store, receipt.upload_id) == [
        ("CC25-0116", "RIG-A", "run-9", 1, "001", 6),
        ("CC25-0117", "RIG-A", "run-1", 1, "002", 4),
        ("CC25-0117", "RIG-A", "run-1", 2, "001", 3),
        ("CC25-0117", "RIG-A", "run-2", 1, "003", 2),
        ("CC25-0117", "RIG-B", "run-0", 1, "001", 5),
    ]
    [other, *_] = store.read_now(lambda db: stretches_of_upload(db, receipt.upload_id))
    assert other.lot_key == lot_key_of(store, "CC25-0116")


def test_a_stretch_of_which_only_repeats_came_is_left_out(store: Store) -> None:
    run = run_rows("001", "run-1", [GOOD] * 4)
    first = add_rows(store, run[:3])
    repeated = [*run[:3], *run_rows("002", "run-2", [GOOD])]
    contradicted = [{**run[0], "pressure_peak_mpa": LOW}, *run_rows("003", "run-3", [GOOD])]
    second, third = add_rows(store, repeated), add_rows(store, contradicted)
    fourth = add_rows(store, run)
    assert [row[2:] for row in named(store, first.upload_id)] == [("run-1", 1, "001", 3)]
    assert [row[2:] for row in named(store, second.upload_id)] == [("run-2", 1, "002", 1)]
    assert [row[2:] for row in named(store, third.upload_id)] == [("run-3", 1, "003", 1)]
    assert [row[2:] for row in named(store, fourth.upload_id)] == [("run-1", 1, "001", 1)]


def test_the_same_stretch_has_one_key_in_every_upload(store: Store) -> None:
    run = run_rows("001", "run-1", [GOOD] * 4)
    receipts = [add_rows(store, run[:2]), add_rows(store, run[2:])]
    found = [
        store.read_now(lambda db, r=receipt: stretches_of_upload(db, r.upload_id))
        for receipt in receipts
    ]
    assert [len(each) for each in found] == [1, 1]
    assert found[0][0].stretch_key == found[1][0].stretch_key
    assert found[0][0].upload_key != found[1][0].upload_key


def test_an_unknown_upload_added_nothing(store: Store) -> None:
    assert store.read_now(lambda db: stretches_of_upload(db, "up_nowhere")) == []
