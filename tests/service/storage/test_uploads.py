"""Receipts are found by name, by digest, by lot and in the order of arrival."""

import pyarrow as pa
import pytest
from parquet_files import cycle_columns, life_columns
from uploads_by_hand import upload

from service.errors import NotFound
from service.storage.store import Store
from service.storage.uploads import find_same_bytes, find_upload, list_uploads, next_upload_key


def test_a_receipt_is_found_by_name_and_by_digest(store: Store) -> None:
    arrived = upload(store, cycle_columns())
    found = (arrived.upload_key, arrived.receipt)
    assert store.read_now(lambda db: find_upload(db, arrived.receipt.upload_id)) == found
    assert store.read_now(lambda db: find_same_bytes(db, arrived.receipt.sha256)) == found


def test_what_was_never_uploaded_is_not_found(store: Store) -> None:
    with pytest.raises(NotFound):
        store.read_now(lambda db: find_upload(db, "up_nothing"))
    assert store.read_now(lambda db: find_same_bytes(db, "00")) is None
    assert store.read_now(next_upload_key) == 1


def test_receipts_are_listed_in_the_order_of_arrival_and_by_lot(store: Store) -> None:
    rows = upload(store, cycle_columns())
    other = upload(store, cycle_columns(lot_number=pa.array(["CC25-0118"] * 20)))
    lives = upload(store, life_columns(unit_serial=pa.array(["A", "B", "C"])))
    receipts = [
        (each.upload_key, each.receipt)
        for each in sorted((rows, other, lives), key=lambda each: each.upload_key)
    ]
    assert store.read_now(lambda db: list_uploads(db, after=0, limit=10)) == receipts
    assert store.read_now(lambda db: list_uploads(db, after=0, limit=2)) == receipts[:2]
    assert store.read_now(lambda db: list_uploads(db, after=2, limit=10)) == receipts[2:]
    of_lot = store.read_now(
        lambda db: list_uploads(db, after=0, limit=10, lot_key=rows.lot_keys[0])
    )
    assert of_lot == [receipts[0], receipts[2]]
