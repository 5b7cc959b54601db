"""Lots: seen in uploads or registered, and the specification each is judged by."""

from __future__ import annotations

from collections.abc import Collection
from datetime import UTC, datetime
from typing import Any

import msgspec
from msgspec import Struct

from schemas.lots import Assignment, Lot, NewAssignment, NewLot, RegistrationState
from service.errors import NotFound
from service.storage.corrections import emptied_counts
from service.storage.facts import Stamp
from service.storage.identifiers import opaque_id
from service.storage.store import Cursor

_KEY_OF_ID = "SELECT lot_key FROM lots WHERE lot_id = $lot_id"
_KEY_OF_NUMBER = "SELECT lot_key FROM lots WHERE lot_number = $lot_number"
_IDS_OF_KEYS = """
SELECT lot_id FROM lots
WHERE lot_key IN (SELECT unnest($lot_keys::INTEGER[]))
ORDER BY lot_key
"""
_ADD_LOT = """
INSERT INTO lots (lot_key, lot_id, lot_number, first_seen_at)
SELECT coalesce(max(lot_key), 0) + 1, $lot_id, $lot_number, $at FROM lots
RETURNING lot_key
"""
_REGISTRATION = "SELECT body FROM lot_registrations WHERE lot_key = $lot_key"
_REGISTER = """
INSERT INTO lot_registrations (lot_key, part_number, body, recorded_at, recorded_by)
VALUES ($lot_key, $part_number, $body, $at, $by)
"""
_SEEN = """
SELECT
    c.lot_key,
    c.lot_id,
    c.lot_number,
    c.body,
    (SELECT count(*) FROM units AS u WHERE u.lot_key = c.lot_key) AS unit_count,
    (
        SELECT min(s.first_started_at)
        FROM upload_stretches AS s
        JOIN stretch_bases AS b ON b.stretch_key = s.stretch_key
        JOIN units AS u ON u.unit_key = b.unit_key
        WHERE u.lot_key = c.lot_key
    ) AS first_row_at
FROM chosen AS c
ORDER BY c.lot_key
"""
_LOT = f"""
WITH chosen AS (
    SELECT l.lot_key, l.lot_id, l.lot_number, r.body
    FROM lots AS l
    LEFT JOIN lot_registrations AS r ON r.lot_key = l.lot_key
    WHERE l.lot_key = $lot_key
)
{_SEEN}
"""
_LOTS = f"""
WITH chosen AS (
    SELECT l.lot_key, l.lot_id, l.lot_number, r.body
    FROM lots AS l
    LEFT JOIN lot_registrations AS r ON r.lot_key = l.lot_key
    WHERE l.lot_key > $after
        AND ($lot_number::VARCHAR IS NULL OR l.lot_number = $lot_number)
        AND ($part_number::VARCHAR IS NULL OR r.part_number = $part_number)
        AND ($state::VARCHAR IS NULL OR ($state = 'REGISTERED') = (r.lot_key IS NOT NULL))
    ORDER BY l.lot_key
    LIMIT $limit
)
{_SEEN}
"""
_ASSIGN = """
INSERT INTO assignments (lot_key, spec_id, version, hash, reason, assigned_at, assigned_by)
VALUES ($lot_key, $spec_id, $version, $hash, $reason, $at, $by)
"""
_ASSIGNMENTS = """
SELECT entry_no, spec_id, version, hash, reason, assigned_at, assigned_by
FROM assignments
WHERE lot_key = $lot_key AND entry_no > $after
ORDER BY entry_no
LIMIT $limit
"""
_CURRENT_ASSIGNMENTS = """
SELECT lot_key, spec_id, version, hash, reason, assigned_at, assigned_by
FROM assignments
WHERE lot_key IN (SELECT unnest($lot_keys::INTEGER[]))
QUALIFY row_number() OVER (PARTITION BY lot_key ORDER BY entry_no DESC) = 1
"""
_SET_PRESSURES = """
WITH current_ones AS (
    SELECT lot_key, spec_id, version
    FROM assignments
    QUALIFY row_number() OVER (PARTITION BY lot_key ORDER BY entry_no DESC) = 1
)
SELECT l.lot_number, (v.body ->> '$.conditions.pressure_set_mpa')::DOUBLE AS pressure_set_mpa
FROM current_ones AS c
JOIN lots AS l ON l.lot_key = c.lot_key
JOIN spec_versions AS v ON v.spec_id = c.spec_id AND v.version = c.version
WHERE pressure_set_mpa IS NOT NULL
ORDER BY l.lot_number
"""
_ASSIGNMENT_FIELDS = ("spec_id", "version", "hash", "reason", "assigned_at", "assigned_by")


class LotFilter(Struct, frozen=True, kw_only=True):
    """Which lots are asked for; None leaves a question open."""

    lot_number: str | None = None
    part_number: str | None = None
    state: RegistrationState | None = None


def lot_key_of(db: Cursor, lot_id: str) -> int:
    """
    Internal key of a lot.

    Raises
    ------
    NotFound
        If no upload and no registration named such a lot.
    """
    row = db.execute(_KEY_OF_ID, {"lot_id": lot_id}).fetchone()
    if row is None:
        raise NotFound("lot", lot_id)
    return int(row[0])


def lot_key_of_number(db: Cursor, lot_number: str) -> int | None:
    """Internal key of the lot with the shop's number; None if nobody named it yet."""
    row = db.execute(_KEY_OF_NUMBER, {"lot_number": lot_number}).fetchone()
    return None if row is None else int(row[0])


def lot_ids(db: Cursor, lot_keys: Collection[int]) -> list[str]:
    """Ids of lots by their internal keys, in the order in which they were first named."""
    rows = db.execute(_IDS_OF_KEYS, {"lot_keys": list(lot_keys)}).fetchall()
    return [str(row[0]) for row in rows]


def add_lot(db: Cursor, lot_number: str, at: datetime) -> int:
    """Make a lot known under the shop's number, unregistered; give its internal key."""
    lot_id = opaque_id("lot", lot_number)
    values = {"lot_id": lot_id, "lot_number": lot_number, "at": at}
    row = db.execute(_ADD_LOT, values).fetchone()
    assert row is not None  # the statement returns the row that it added
    return int(row[0])


def find_registration(db: Cursor, lot_key: int) -> NewLot | None:
    """What a lot was registered with; None if only uploads named it."""
    row = db.execute(_REGISTRATION, {"lot_key": lot_key}).fetchone()
    return None if row is None else msgspec.json.decode(row[0], type=NewLot)


def register_lot(db: Cursor, lot_key: int, body: NewLot, stamp: Stamp) -> None:
    """Record the registration of a lot that has none."""
    values = {
        "lot_key": lot_key,
        "part_number": body.part_number,
        "body": msgspec.json.encode(body).decode(),
        "at": stamp.at,
        "by": stamp.by,
    }
    db.execute(_REGISTER, values)


def find_lot(db: Cursor, lot_key: int) -> Lot:
    """A lot as it stands; `lot_key` is one that this module gave."""
    rows = db.execute(_LOT, {"lot_key": lot_key}).fetchall()
    return _lots(db, rows)[0][1]


def list_lots(db: Cursor, chosen: LotFilter, *, after: int, limit: int) -> list[tuple[int, Lot]]:
    """Up to `limit` lots, in the order in which they were first named, with their keys."""
    values = {**msgspec.structs.asdict(chosen), "after": after, "limit": limit}
    return _lots(db, db.execute(_LOTS, values).fetchall())


def add_assignment(
    db: Cursor, lot_key: int, body: NewAssignment, spec_hash: str, stamp: Stamp
) -> Assignment:
    """Make a version of a specification the lot's current one."""
    values = {
        "lot_key": lot_key,
        "spec_id": body.spec_id,
        "version": body.version,
        "hash": spec_hash,
        "reason": body.reason,
        "at": stamp.at,
        "by": stamp.by,
    }
    db.execute(_ASSIGN, values)
    return Assignment(
        spec_id=body.spec_id,
        version=body.version,
        hash=spec_hash,
        reason=body.reason,
        assigned_at=stamp.at,
        assigned_by=stamp.by,
    )


def find_assignment(db: Cursor, lot_key: int) -> Assignment | None:
    """The lot's current assignment; None if it never had one."""
    return _current_assignments(db, [lot_key]).get(lot_key)


def set_pressures(db: Cursor) -> dict[str, float]:
    """Set pressure in MPa of each lot whose current specification states one, by lot number."""
    return dict(db.execute(_SET_PRESSURES).fetchall())


def list_assignments(
    db: Cursor, lot_key: int, *, after: int, limit: int
) -> list[tuple[int, Assignment]]:
    """Up to `limit` assignments of a lot, oldest first, with their entry numbers."""
    values = {"lot_key": lot_key, "after": after, "limit": limit}
    rows = db.execute(_ASSIGNMENTS, values).fetchall()
    return [(int(row[0]), _assignment(row[1:])) for row in rows]


def _current_assignments(db: Cursor, lot_keys: list[int]) -> dict[int, Assignment]:
    rows = db.execute(_CURRENT_ASSIGNMENTS, {"lot_keys": lot_keys}).fetchall()
    return {int(row[0]): _assignment(row[1:]) for row in rows}


def _assignment(row: tuple[Any, ...]) -> Assignment:
    return Assignment(**dict(zip(_ASSIGNMENT_FIELDS, row, strict=True)))


def _lots(db: Cursor, rows: list[tuple[Any, ...]]) -> list[tuple[int, Lot]]:
    assignments = _current_assignments(db, [int(row[0]) for row in rows])
    emptied = emptied_counts(db, [int(row[0]) for row in rows])
    found = [(int(row[0]), _lot(row[1:], assignments.get(int(row[0])))) for row in rows]
    return [
        (key, msgspec.structs.replace(lot, unit_count=lot.unit_count - emptied.get(key, 0)))
        for key, lot in found
    ]


def _lot(row: tuple[Any, ...], assignment: Assignment | None) -> Lot:
    lot_id, lot_number, body, unit_count, first_row_at = row
    registration = None if body is None else msgspec.json.decode(body, type=NewLot)
    optional = {
        "part_number": registration and registration.part_number,
        "lot_size": registration and registration.lot_size,
        "note": registration and registration.note,
        "assignment": assignment,
        # Instants of rows are stored in UTC without saying so.
        "first_row_at": first_row_at and first_row_at.replace(tzinfo=UTC),
    }
    present: dict[str, Any] = {n: value for n, value in optional.items() if value is not None}
    return Lot(
        lot_id=lot_id,
        lot_number=lot_number,
        state="UNREGISTERED" if registration is None else "REGISTERED",
        unit_count=unit_count,
        **present,
    )
