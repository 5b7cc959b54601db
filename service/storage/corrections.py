"""Corrections of serials and lots, withdrawals of uploads, and the lots that they touched."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any, TypeVar

import msgspec
from msgspec import Struct

from schemas.corrections import Correction, LotChange, LotEffect, NewCorrection, NewWithdrawal
from service.storage.facts import Stamp
from service.storage.identifiers import opaque_id
from service.storage.store import Cursor

_ADD_CORRECTION = """
INSERT INTO corrections (correction_key, change_id, written_lot_number, written_unit_serial, body,
    recorded_at, recorded_by)
VALUES ($key, $change_id, $lot_number, $unit_serial, $body, $at, $by)
"""
_CORRECTION_COLUMNS = """
SELECT c.entry_no, c.body, c.recorded_at, c.recorded_by, e.body AS effects
FROM corrections AS c
LEFT JOIN change_effects AS e ON e.change_id = c.change_id
"""
_CORRECTION = f"{_CORRECTION_COLUMNS} WHERE c.correction_key = $key"
_CORRECTIONS = f"""
{_CORRECTION_COLUMNS}
WHERE c.entry_no > $after AND ($lot_key::INTEGER IS NULL OR c.change_id IN (
    SELECT change_id FROM lot_changes WHERE lot_key = $lot_key))
ORDER BY c.entry_no
LIMIT $limit
"""
_SPOKEN_OF = """
SELECT body FROM corrections
WHERE written_lot_number IN (SELECT unnest($lot_numbers::VARCHAR[]))
ORDER BY entry_no
"""
_LINKS = "SELECT body FROM corrections"
_TOUCH = """
INSERT INTO lot_changes (lot_key, change_id, unit_ids)
SELECT unnest($lot_keys::INTEGER[]), $change_id, unnest($unit_ids::VARCHAR[])
"""
_ADD_EFFECTS = "INSERT INTO change_effects (change_id, body) VALUES ($change_id, $body)"
_CHANGES = """
SELECT change_id FROM lot_changes WHERE lot_key = $lot_key ORDER BY entry_no
"""
_CHANGED = """
SELECT DISTINCT lot_key FROM lot_changes WHERE lot_key IN (SELECT unnest($lot_keys::INTEGER[]))
"""
_TOLD = """
SELECT l.lot_id, e.body, w.body, c.body, p.upload_id,
    coalesce(w.withdrawn_at, c.recorded_at), coalesce(w.withdrawn_by, c.recorded_by)
FROM lot_changes AS t
JOIN lots AS l ON l.lot_key = t.lot_key
JOIN change_effects AS e ON e.change_id = t.change_id
LEFT JOIN withdrawals AS w ON w.change_id = t.change_id
LEFT JOIN corrections AS c ON c.change_id = t.change_id
LEFT JOIN uploads AS p ON p.upload_key = w.upload_key
WHERE t.lot_key = $lot_key
ORDER BY t.entry_no
"""
_UNITS_CHANGED = """
SELECT t.entry_no, t.unit_ids, w.change_id IS NOT NULL, coalesce(p.upload_id, c.correction_key),
    coalesce(w.withdrawn_at, c.recorded_at)
FROM lot_changes AS t
LEFT JOIN withdrawals AS w ON w.change_id = t.change_id
LEFT JOIN corrections AS c ON c.change_id = t.change_id
LEFT JOIN uploads AS p ON p.upload_key = w.upload_key
WHERE t.lot_key = $lot_key
ORDER BY t.entry_no
"""
# A unit that a lot is left with only by name: rows or lives brought it, and all of them were
# withdrawn or belong to another unit. Whoever is listed or on record stays.
_EMPTIED = """
WITH moves AS (
    SELECT from_unit_key, arg_max(to_unit_key, entry_no) AS to_unit_key
    FROM unit_moves
    GROUP BY from_unit_key
)
SELECT u.unit_key
FROM units AS u
WHERE u.lot_key = $lot_key
    AND u.unit_key NOT IN (SELECT unit_key FROM sample_units)
    AND u.unit_key NOT IN (SELECT coalesce(m.to_unit_key, i.unit_key) FROM inspections AS i
        LEFT JOIN moves AS m ON m.from_unit_key = i.unit_key)
    AND u.unit_key NOT IN (SELECT coalesce(m.to_unit_key, e.unit_key) FROM rig_events AS e
        LEFT JOIN moves AS m ON m.from_unit_key = e.unit_key WHERE e.unit_key IS NOT NULL)
    AND u.unit_key NOT IN (SELECT unit_key FROM failure_records)
    AND u.unit_key NOT IN (SELECT unit_key FROM uploaded_lives)
    AND u.unit_key NOT IN (
        SELECT b.unit_key FROM stretch_bases AS b
        JOIN upload_stretches AS t ON t.stretch_key = b.stretch_key)
"""

_Read = TypeVar("_Read")


class ChangedUnits(Struct, frozen=True, kw_only=True):
    """
    Units of a lot that a withdrawal or a correction speaks of.

    `record_id` is the upload's id or the correction's key; `entry_no` the place of the change
    among all recorded facts.
    """

    entry_no: int
    unit_ids: list[str]
    is_withdrawal: bool
    record_id: str
    recorded_at: datetime


def correction_id(correction_key: str) -> str:
    """Id of the change that a correction makes."""
    return opaque_id("cor", correction_key)


def add_correction(db: Cursor, body: NewCorrection, stamp: Stamp) -> None:
    """Record a correction; its key is new."""
    values = {
        "key": body.correction_key,
        "change_id": correction_id(body.correction_key),
        "lot_number": body.written.lot_number,
        "unit_serial": body.written.unit_serial,
        "body": _written(body),
        "at": stamp.at,
        "by": stamp.by,
    }
    db.execute(_ADD_CORRECTION, values)


def find_correction(db: Cursor, correction_key: str) -> Correction | None:
    """A recorded correction with its effects; None if the key is new."""
    row = db.execute(_CORRECTION, {"key": correction_key}).fetchone()
    return None if row is None else _correction(row)


def list_corrections(
    db: Cursor, lot_key: int | None, *, after: int, limit: int
) -> list[tuple[int, Correction]]:
    """Up to `limit` corrections that touched a lot (any lot for None), oldest first."""
    values = {"lot_key": lot_key, "after": after, "limit": limit}
    rows = db.execute(_CORRECTIONS, values).fetchall()
    return [(int(row[0]), _correction(row)) for row in rows]


def corrections_about(db: Cursor, lot_numbers: Collection[str]) -> list[NewCorrection]:
    """Corrections of what was written under some lots, oldest first."""
    rows = db.execute(_SPOKEN_OF, {"lot_numbers": [*lot_numbers]}).fetchall()
    return [_decoded(row[0], NewCorrection) for row in rows]


def linked_lots(db: Cursor, lot_numbers: Collection[str]) -> set[str]:
    """These lots and all that corrections tie to them, over any number of steps."""
    links = [_decoded(row[0], NewCorrection) for row in db.execute(_LINKS).fetchall()]
    found = set(lot_numbers)
    size = -1
    while len(found) != size:
        size = len(found)
        for each in links:
            pair = {each.written.lot_number, each.belongs_to.lot_number}
            found |= pair if pair & found else set()
    return found


def touch_lots(db: Cursor, change_id: str, units: Mapping[int, Sequence[str]]) -> None:
    """Record which lots a change touched, with the ids of the units that it speaks of."""
    if not units:
        return
    values = {
        "lot_keys": [*units],
        "unit_ids": [_written(sorted(of_lot)) for of_lot in units.values()],
        "change_id": change_id,
    }
    db.execute(_TOUCH, values)


def add_effects(db: Cursor, change_id: str, effects: list[LotEffect]) -> None:
    """Record what a change did, as it is told to its signer."""
    db.execute(_ADD_EFFECTS, {"change_id": change_id, "body": _written(effects)})


def changes_of_lot(db: Cursor, lot_key: int) -> list[str]:
    """Ids of the changes that touched a lot, oldest first: hardly any lot has one."""
    return [str(row[0]) for row in db.execute(_CHANGES, {"lot_key": lot_key}).fetchall()]


def emptied_units(db: Cursor, lot_key: int) -> set[int]:
    """Units of a changed lot that nothing names any more: the sample goes on without them."""
    return {int(row[0]) for row in db.execute(_EMPTIED, {"lot_key": lot_key}).fetchall()}


def emptied_counts(db: Cursor, lot_keys: Collection[int]) -> dict[int, int]:
    """How many units of each of some lots that is so; lots that never changed are left out."""
    rows = db.execute(_CHANGED, {"lot_keys": [*lot_keys]}).fetchall()
    return {int(row[0]): len(emptied_units(db, int(row[0]))) for row in rows}


def units_changed(db: Cursor, lot_key: int) -> list[ChangedUnits]:
    """What the changes of a lot speak of, oldest first."""
    return [
        ChangedUnits(
            entry_no=int(entry_no),
            unit_ids=_decoded(unit_ids, list[str]),
            is_withdrawal=is_withdrawal,
            record_id=record_id,
            recorded_at=recorded_at,
        )
        for entry_no, unit_ids, is_withdrawal, record_id, recorded_at in db.execute(
            _UNITS_CHANGED, {"lot_key": lot_key}
        ).fetchall()
    ]


def told_changes(db: Cursor, lot_key: int) -> list[LotChange]:
    """Changes of a lot in full, oldest first."""
    return [_told(row) for row in db.execute(_TOLD, {"lot_key": lot_key}).fetchall()]


def _told(row: tuple[Any, ...]) -> LotChange:
    lot_id, effects, withdrawal, correction, upload_id, at, by = row
    told = {each.lot_id: each for each in _decoded(effects, list[LotEffect])}
    signed: dict[str, Any] = {"effect": told[lot_id], "signed_at": at, "signed_by": by}
    if withdrawal is not None:
        body = _decoded(withdrawal, NewWithdrawal)
        return LotChange(
            kind="UPLOAD_WITHDRAWN",
            meaning=body.meaning,
            reason=body.reason,
            upload_id=upload_id,
            **signed,
        )
    corrected = _decoded(correction, NewCorrection)
    return LotChange(
        kind="SERIAL_CORRECTED",
        meaning=corrected.meaning,
        reason=corrected.reason,
        correction_key=corrected.correction_key,
        written=corrected.written,
        belongs_to=corrected.belongs_to,
        **signed,
    )


def _correction(row: tuple[Any, ...]) -> Correction:
    _, body, at, by, effects = row
    return Correction(
        correction=_decoded(body, NewCorrection),
        recorded_at=at,
        recorded_by=by,
        actor_kind="PERSON",
        lots=[] if effects is None else _decoded(effects, list[LotEffect]),
    )


def _written(body: Any) -> str:
    return msgspec.json.encode(body).decode()


def _decoded(body: str, kind: type[_Read]) -> _Read:
    return msgspec.json.decode(body, type=kind)
