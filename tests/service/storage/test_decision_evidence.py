"""Evidence is stored with its decision and names the lot's files in the order of arrival."""

from pathlib import Path

from lots_by_hand import add_rows, lot_key_of, register, run_rows
from stores import open_store

from service.storage.decision_evidence import find_decision_evidence, upload_digests


def test_files_of_a_lot_are_named_in_the_order_of_arrival(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    register(store)
    taken = [add_rows(store, run_rows("U-1", f"R-{n}", [33.0] * 5, hour=n)) for n in range(3)]
    found = store.read_now(lambda db: upload_digests(db, lot_key_of(store)))
    assert [each.upload_id for each in found] == [each.upload_id for each in taken]
    assert [each.row_count for each in found] == [5, 5, 5]
    store.close()


def test_a_decision_without_evidence_has_none(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    assert store.read_now(lambda db: find_decision_evidence(db, "dec_1")) is None
    store.close()
