"""Which stretches an upload added rows to."""

from __future__ import annotations

from msgspec import Struct

from service.storage.store import Cursor

_STRETCHES = """
SELECT b.stretch_key, b.rig_id, b.run_id, b.station_no, u.unit_serial, l.lot_number, l.lot_key,
    t.stored_rows, t.upload_key
FROM upload_stretches AS t
JOIN uploads AS p ON p.upload_key = t.upload_key
JOIN stretch_bases AS b ON b.stretch_key = t.stretch_key
JOIN units AS u ON u.unit_key = b.unit_key
JOIN lots AS l ON l.lot_key = u.lot_key
WHERE p.upload_id = $upload_id AND t.stored_rows > 0
ORDER BY l.lot_number, b.rig_id, b.run_id, b.station_no
"""
_REPEATED = """
SELECT coalesce(sum(t.duplicate_rows), 0)::BIGINT, coalesce(sum(t.conflicting_rows), 0)::BIGINT
FROM upload_stretches AS t
JOIN uploads AS p ON p.upload_key = t.upload_key
WHERE p.upload_id = $upload_id
"""


class UploadedStretch(Struct, frozen=True, kw_only=True):
    """A stretch to which the upload added rows."""

    stretch_key: int
    rig_id: str
    run_id: str
    station_no: int
    unit_serial: str
    lot_number: str
    lot_key: int
    stored_rows: int
    upload_key: int


def stretches_of_upload(db: Cursor, upload_id: str) -> list[UploadedStretch]:
    """Stretches to which an upload added rows, by lot, rig, run and station."""
    names = UploadedStretch.__struct_fields__
    rows = db.execute(_STRETCHES, {"upload_id": upload_id}).fetchall()
    return [UploadedStretch(**dict(zip(names, row, strict=True))) for row in rows]


def repeated_rows(db: Cursor, upload_id: str) -> tuple[int, int]:
    """Rows of an upload that are duplicates and that conflict, as things stand now."""
    row = db.execute(_REPEATED, {"upload_id": upload_id}).fetchone()
    assert row is not None  # an aggregate without groups always gives a row
    return int(row[0]), int(row[1])
