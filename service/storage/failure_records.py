"""Failure records and the signatures under them: written once, never edited, all of them stay."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import msgspec
from msgspec import Struct

from schemas.failure_records import FailureRecord, NewFailureRecord, RecordSignature
from schemas.unit_evidence import SignedFor
from service.errors import NotFound
from service.storage.facts import Stamp
from service.storage.identifiers import opaque_id
from service.storage.store import Cursor

_COLUMNS = """
    r.entry_no, r.record_id, l.lot_id, u.unit_id, r.body, r.recorded_at, r.recorded_by, r.unit_key
FROM failure_records AS r
JOIN units AS u ON u.unit_key = r.unit_key
JOIN lots AS l ON l.lot_key = u.lot_key
"""
_ADD = """
INSERT INTO failure_records (record_key, record_id, unit_key, body, recorded_at, recorded_by)
VALUES ($record_key, $record_id, $unit_key, $body, $at, $by)
"""
_BY_KEY = f"SELECT {_COLUMNS} WHERE r.record_key = $record_key"
_BY_ID = f"SELECT {_COLUMNS} WHERE r.record_id = $record_id"
_LISTED = f"""
SELECT {_COLUMNS}
WHERE r.entry_no > $after AND ($lot_id::VARCHAR IS NULL OR l.lot_id = $lot_id)
ORDER BY r.entry_no
LIMIT $limit
"""
_OF_LOT = f"SELECT {_COLUMNS} WHERE u.lot_key = $lot_key ORDER BY r.entry_no"
_ADD_SIGNATURE = """
INSERT INTO failure_record_signatures
    (signature_id, record_id, failure_id, body, signed_at, signed_by)
VALUES ($signature_id, $record_id, $failure_id, $body, $at, $by)
"""
_SIGNATURES = """
SELECT body FROM failure_record_signatures
WHERE record_id = $record_id
ORDER BY entry_no
"""
_SIGNED_OF_LOT = """
SELECT s.record_id, s.failure_id, s.signed_by
FROM failure_record_signatures AS s
JOIN failure_records AS r ON r.record_id = s.record_id
JOIN units AS u ON u.unit_key = r.unit_key
WHERE u.lot_key = $lot_key
ORDER BY s.entry_no
"""


class StoredFailureRecord(Struct, frozen=True, kw_only=True):
    """A failure record with the key of its unit and who signed it for which failure."""

    unit_key: int
    record: FailureRecord
    signatures: list[SignedFor] = []


def add_failure_record(
    db: Cursor, body: NewFailureRecord, unit_key: int, stamp: Stamp
) -> FailureRecord:
    """Record an examination whose key was not used yet; earlier ones of the unit stay."""
    values = {
        "record_key": body.record_key,
        "record_id": opaque_id("rec", body.record_key),
        "unit_key": unit_key,
        "body": msgspec.json.encode(body, order="sorted").decode(),
        "at": stamp.at,
        "by": stamp.by,
    }
    db.execute(_ADD, values)
    return find_failure_record(db, str(values["record_id"])).record


def find_failure_record(db: Cursor, record_id: str) -> StoredFailureRecord:
    """
    One failure record, without its signatures.

    Raises
    ------
    NotFound
        If there is none of that id.
    """
    row = db.execute(_BY_ID, {"record_id": record_id}).fetchone()
    if row is None:
        raise NotFound("failure record", record_id)
    return _stored(row)


def find_by_key(db: Cursor, record_key: str) -> FailureRecord | None:
    """The failure record that was recorded under a key; None if there is none."""
    row = db.execute(_BY_KEY, {"record_key": record_key}).fetchone()
    return None if row is None else _stored(row).record


def list_failure_records(
    db: Cursor, lot_id: str | None, *, after: int, limit: int
) -> list[tuple[int, FailureRecord]]:
    """Up to `limit` records of a lot (of all without one), as recorded, with entry numbers."""
    values = {"lot_id": lot_id, "after": after, "limit": limit}
    rows = db.execute(_LISTED, values).fetchall()
    return [(int(row[0]), _stored(row).record) for row in rows]


def records_of_lot(db: Cursor, lot_key: int) -> list[StoredFailureRecord]:
    """Every failure record of a lot's units, oldest first, each with who signed it."""
    rows = db.execute(_OF_LOT, {"lot_key": lot_key}).fetchall()
    if not rows:
        return []
    signed: dict[str, list[SignedFor]] = defaultdict(list)
    for record_id, failure_id, signed_by in db.execute(
        _SIGNED_OF_LOT, {"lot_key": lot_key}
    ).fetchall():
        signed[record_id].append(SignedFor(failure_id=failure_id, signed_by=signed_by))
    return [
        msgspec.structs.replace(each, signatures=signed[each.record.record_id])
        for each in map(_stored, rows)
    ]


def add_signature(db: Cursor, signature: RecordSignature, failure_id: str) -> None:
    """Record a person's signature under a failure record."""
    values = {
        "signature_id": signature.signature_id,
        "record_id": signature.record_id,
        "failure_id": failure_id,
        "body": msgspec.json.encode(signature).decode(),
        "at": signature.signed_at,
        "by": signature.signed_by,
    }
    db.execute(_ADD_SIGNATURE, values)


def signatures_under(db: Cursor, record_id: str) -> list[RecordSignature]:
    """Every signature under a record, as it was given, oldest first."""
    rows = db.execute(_SIGNATURES, {"record_id": record_id}).fetchall()
    return [msgspec.json.decode(row[0], type=RecordSignature) for row in rows]


def _stored(row: tuple[Any, ...]) -> StoredFailureRecord:
    _, record_id, lot_id, unit_id, body, recorded_at, recorded_by, unit_key = row
    record = FailureRecord(
        record_id=record_id,
        lot_id=lot_id,
        unit_id=unit_id,
        record=msgspec.json.decode(body, type=NewFailureRecord),
        recorded_at=recorded_at,
        recorded_by=recorded_by,
    )
    return StoredFailureRecord(unit_key=int(unit_key), record=record)
