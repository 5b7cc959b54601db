"""Receipts of uploads: written once, with the rows, and never changed."""

from __future__ import annotations

from typing import Any

import msgspec
from msgspec import UNSET, structs

from schemas.uploads import Upload, WithdrawnMark
from service.errors import NotFound
from service.storage.arrivals_file import Arrival
from service.storage.store import Cursor
from service.storage.withdrawals import withdrawn_among

_BY_DIGEST = "SELECT upload_key, receipt FROM uploads WHERE sha256 = $sha256"
_BY_ID = "SELECT upload_key, receipt FROM uploads WHERE upload_id = $upload_id"
_LAST = "SELECT coalesce(max(upload_key), 0) FROM uploads"
_ADD = """
INSERT INTO uploads (
    upload_key, upload_id, sha256, table_kind, received_at, received_from,
    byte_count, row_count, column_mask, source_zone, receipt
) VALUES (
    $upload_key, $upload_id, $sha256, $table_kind, $received_at, $received_from,
    $byte_count, $row_count, $column_mask, $source_zone, $receipt
)
"""
_ALL = """
SELECT upload_key, receipt FROM uploads
WHERE upload_key > $after
ORDER BY upload_key
LIMIT $limit
"""
_OF_LOT = """
SELECT upload_key, receipt FROM uploads
WHERE upload_key > $after AND upload_key IN (
    SELECT s.upload_key
    FROM taken_tallies AS s
    JOIN taken_stretches AS b ON b.stretch_key = s.stretch_key
    JOIN units AS u ON u.unit_key = b.unit_key
    WHERE u.lot_key = $lot_key
    UNION
    SELECT f.upload_key
    FROM taken_lives AS f
    JOIN units AS u ON u.unit_key = f.unit_key
    WHERE u.lot_key = $lot_key
)
ORDER BY upload_key
LIMIT $limit
"""


def find_upload(db: Cursor, upload_id: str) -> tuple[int, Upload]:
    """
    Internal key and receipt of an upload.

    Raises
    ------
    NotFound
        If there is no such upload.
    """
    row = db.execute(_BY_ID, {"upload_id": upload_id}).fetchone()
    if row is None:
        raise NotFound("upload", upload_id)
    return _marked(db, [_keyed(row)])[0]


def find_same_bytes(db: Cursor, sha256: str) -> tuple[int, Upload] | None:
    """Internal key and receipt of the upload with a digest (hexadecimal); None if it is new."""
    row = db.execute(_BY_DIGEST, {"sha256": sha256}).fetchone()
    return None if row is None else _keyed(row)


def list_uploads(
    db: Cursor, *, after: int, limit: int, lot_key: int | None = None
) -> list[tuple[int, Upload]]:
    """
    Up to `limit` receipts in the order of arrival, with their internal keys.

    Parameters
    ----------
    db : Cursor
    after : int, keyword only
        Internal key of the last one seen; 0 to begin.
    limit : int, keyword only
    lot_key : int, optional, keyword only
        Only uploads that brought rows or lives of this lot, withdrawn ones included.
    """
    values: dict[str, Any] = {"after": after, "limit": limit}
    if lot_key is None:
        found = db.execute(_ALL, values).fetchall()
    else:
        found = db.execute(_OF_LOT, {**values, "lot_key": lot_key}).fetchall()
    return _marked(db, [_keyed(row) for row in found])


def next_upload_key(db: Cursor) -> int:
    """Internal key of the upload that this transaction stores."""
    row = db.execute(_LAST).fetchone()
    assert row is not None  # an aggregate without groups always gives a row
    return int(row[0]) + 1


def add_upload(db: Cursor, upload_key: int, arrival: Arrival, receipt: Upload) -> None:
    """Write a receipt."""
    values = {
        "upload_key": upload_key,
        "upload_id": receipt.upload_id,
        "sha256": arrival.sha256,
        "table_kind": receipt.table,
        "received_at": arrival.received_at,
        "received_from": arrival.received_from,
        "byte_count": arrival.byte_count,
        "row_count": receipt.row_count,
        "column_mask": arrival.profile.column_mask,
        "source_zone": arrival.profile.source_zone,
        "receipt": msgspec.json.encode(receipt).decode(),
    }
    db.execute(_ADD, values)


def _marked(db: Cursor, found: list[tuple[int, Upload]]) -> list[tuple[int, Upload]]:
    """The receipts, each withdrawn one with a mark that says so."""
    withdrawn = withdrawn_among(db, [key for key, _ in found])
    if not withdrawn:
        return found
    marks = {
        key: WithdrawnMark(withdrawn_at=each.at, withdrawn_by=each.by, reason=each.signed.reason)
        for key, each in withdrawn.items()
    }
    return [(key, structs.replace(each, withdrawn=marks.get(key, UNSET))) for key, each in found]


def _keyed(row: tuple[Any, ...]) -> tuple[int, Upload]:
    return int(row[0]), msgspec.json.decode(row[1], type=Upload)
