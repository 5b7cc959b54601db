"""Rows and lives taken anew from kept originals: an upload was withdrawn or a serial corrected.

Nothing is deleted: what stood before is retired under its old keys. What stands afterwards is
what the uploads that still count would have left, had they arrived in the same order with the
corrections known.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from contextlib import AbstractContextManager
from datetime import datetime

import msgspec
from msgspec import Struct

from schemas.uploads import Upload
from service.storage.arrivals_file import Arrival, opened, reading
from service.storage.arrivals_keys import KeyedFile, read_groups, text_keys
from service.storage.arrivals_lives import LivesTaken, take_lives
from service.storage.arrivals_written import (
    Place,
    StretchKeys,
    store_written,
    written_stretches,
)
from service.storage.corrections import corrections_about, linked_lots
from service.storage.store import Cursor

_PLACES = """
SELECT unnest($rig_ids::VARCHAR[]) AS rig_id, unnest($run_ids::VARCHAR[]) AS run_id,
    unnest($station_nos::INTEGER[]) AS station_no
"""
_UPLOAD = "p.upload_key, p.upload_id, p.sha256, p.byte_count, p.received_at, p.received_from"
_UPLOADS_AT = f"""
WITH places AS ({_PLACES})
SELECT {_UPLOAD}
FROM uploads AS p
WHERE p.upload_key IN (
    SELECT t.upload_key FROM taken_tallies AS t
    JOIN taken_stretches AS b ON b.stretch_key = t.stretch_key
    JOIN places USING (rig_id, run_id, station_no)
) AND p.upload_key NOT IN (SELECT upload_key FROM withdrawals)
ORDER BY p.upload_key
"""
_RETIRE_STRETCHES = f"""
WITH places AS ({_PLACES})
INSERT INTO retired_stretches (stretch_key, change_id)
SELECT b.stretch_key, $change_id
FROM stretch_bases AS b
JOIN places USING (rig_id, run_id, station_no)
"""
_PLACES_OF_UPLOAD = """
SELECT DISTINCT b.rig_id, b.run_id, b.station_no
FROM upload_stretches AS t
JOIN stretch_bases AS b ON b.stretch_key = t.stretch_key
WHERE t.upload_key = $upload_key
ORDER BY b.rig_id, b.run_id, b.station_no
"""
_LIVES_UPLOADS = f"""
SELECT {_UPLOAD}, p.receipt
FROM uploads AS p
WHERE p.table_kind = 'LIVES' AND p.upload_key NOT IN (SELECT upload_key FROM withdrawals)
ORDER BY p.upload_key
"""
_RETIRE_LIVES = """
INSERT INTO retired_lives (upload_key, unit_key, take_no, change_id)
SELECT DISTINCT t.upload_key, t.unit_key, t.take_no, $change_id
FROM taken_lives AS t
JOIN units AS u ON u.unit_key = t.unit_key
JOIN lots AS l ON l.lot_key = u.lot_key
ANTI JOIN retired_lives AS r
    ON r.upload_key = t.upload_key AND r.unit_key = t.unit_key AND r.take_no = t.take_no
WHERE l.lot_number IN (SELECT unnest($lot_numbers::VARCHAR[]))
"""
_NEXT_TAKE = "SELECT coalesce(max(take_no), 0) + 1 FROM taken_lives"
_LOTS_OF_LIVES = """
SELECT DISTINCT l.lot_number
FROM uploaded_lives AS t
JOIN units AS u ON u.unit_key = t.unit_key
JOIN lots AS l ON l.lot_key = u.lot_key
WHERE t.upload_key = $upload_key
ORDER BY l.lot_number
"""


class KeptUpload(Struct, frozen=True, kw_only=True):
    """An upload as it was received; its file is among the originals."""

    upload_key: int
    upload_id: str
    sha256: str
    byte_count: int
    received_at: datetime
    received_from: str


OpenOriginal = Callable[[KeptUpload], AbstractContextManager[Arrival]]
"""Gives the file of an upload, checked to be the one that was received."""


def places_of_upload(db: Cursor, upload_key: int) -> list[Place]:
    """Where the rows of an upload ran, those that came twice included."""
    rows = db.execute(_PLACES_OF_UPLOAD, {"upload_key": upload_key}).fetchall()
    return [(str(rig), str(run), int(station)) for rig, run, station in rows]


def lots_of_lives(db: Cursor, upload_key: int) -> list[str]:
    """Numbers of the lots whose lives an upload brought."""
    rows = db.execute(_LOTS_OF_LIVES, {"upload_key": upload_key}).fetchall()
    return [str(row[0]) for row in rows]


def retake_places(
    db: Cursor, places: Sequence[Place], change_id: str, open_original: OpenOriginal
) -> None:
    """
    Take the rows of some places anew, without uploads that are withdrawn.

    Parameters
    ----------
    db : Cursor
        Inside the write transaction; withdrawals and corrections are recorded already.
    places : sequence of Place
    change_id : str
        What the old stretches are retired by.
    open_original : callable
    """
    if not places:
        return
    given = _columns(places)
    db.execute(_RETIRE_STRETCHES, {**given, "change_id": change_id})
    keys: StretchKeys | None = None
    for row in db.execute(_UPLOADS_AT, given).fetchall():
        kept = _kept(row)
        # One set of keys for all uploads: what the first of them makes, the others add to.
        keys = StretchKeys(db, kept.received_at) if keys is None else keys
        with open_original(kept) as arrival:
            _retake(db, arrival, kept, set(places), keys)


def retake_lives(
    db: Cursor, lot_numbers: Collection[str], change_id: str, open_original: OpenOriginal
) -> None:
    """Take the uploaded lives of some lots anew, and of lots that corrections tie to them."""
    if not lot_numbers:
        return
    linked = linked_lots(db, lot_numbers)
    db.execute(_RETIRE_LIVES, {"lot_numbers": sorted(linked), "change_id": change_id})
    corrections = corrections_about(db, linked)
    row = db.execute(_NEXT_TAKE).fetchone()
    assert row is not None  # an aggregate without groups always gives a row
    taken = LivesTaken(take_no=int(row[0]), corrections=corrections, lot_numbers=linked)
    for *upload, receipt in db.execute(_LIVES_UPLOADS).fetchall():
        told = msgspec.json.decode(receipt, type=Upload)
        if linked & {tally.lot_number for tally in told.lots}:
            kept = _kept(tuple(upload))
            with open_original(kept) as arrival:
                take_lives(db, arrival, kept.upload_key, taken)


def _retake(
    db: Cursor, arrival: Arrival, kept: KeptUpload, places: set[Place], keys: StretchKeys
) -> None:
    with opened(db, arrival) as file, reading(db, arrival):
        groups = read_groups(db, file)
        here = [group for group in groups if group.stretch[:3] in places]
        corrections = corrections_about(db, {group.lot_number for group in here})
        keyed = KeyedFile(
            file=file, finite=frozenset(), groups=groups, stretches=[], texts=text_keys(db, groups)
        )
        wanted = written_stretches(here, corrections, kept.upload_id)
        store_written(db, keyed, wanted, kept.upload_key, keys)


def _columns(places: Sequence[Place]) -> dict[str, list[str] | list[int]]:
    return {
        "rig_ids": [rig_id for rig_id, _, _ in places],
        "run_ids": [run_id for _, run_id, _ in places],
        "station_nos": [station_no for _, _, station_no in places],
    }


def _kept(row: tuple[object, ...]) -> KeptUpload:
    return KeptUpload(**dict(zip(KeptUpload.__struct_fields__, row, strict=True)))  # type: ignore[arg-type]  # the columns stand in the order of the fields
