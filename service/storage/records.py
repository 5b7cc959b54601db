"""What people and rigs report: settings of a rig, events at it, inspections of a unit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec

from schemas.lots import Inspection, NewInspection, NewRigEvent, Rig, RigEvent, RigSettings
from service.storage.facts import Stamp
from service.storage.store import Cursor

_ADD_RIG = """
INSERT INTO rig_settings (rig_id, body, recorded_at, recorded_by)
VALUES ($rig_id, $body, $at, $by)
"""
_RIG = """
SELECT rig_id, body, recorded_at, recorded_by
FROM rig_settings
WHERE rig_id = $rig_id
ORDER BY entry_no DESC
LIMIT 1
"""
_RIGS = """
SELECT rig_id, body, recorded_at, recorded_by
FROM rig_settings
WHERE rig_id > $after
QUALIFY row_number() OVER (PARTITION BY rig_id ORDER BY entry_no DESC) = 1
ORDER BY rig_id
LIMIT $limit
"""
_RIGS_NAMED = """
SELECT rig_id, body, recorded_at, recorded_by
FROM rig_settings
WHERE rig_id IN (SELECT unnest($rig_ids::VARCHAR[]))
QUALIFY row_number() OVER (PARTITION BY rig_id ORDER BY entry_no DESC) = 1
ORDER BY rig_id
"""
_ADD_EVENT = """
INSERT INTO rig_events (rig_id, event_key, unit_key, body, recorded_at, recorded_by)
VALUES ($rig_id, $event_key, $unit_key, $body, $at, $by)
"""
_EVENT = """
SELECT body, recorded_at, recorded_by
FROM rig_events
WHERE rig_id = $rig_id AND event_key = $event_key
"""
_EVENTS = """
SELECT entry_no, body, recorded_at, recorded_by
FROM rig_events
WHERE entry_no > $after AND ($rig_id::VARCHAR IS NULL OR rig_id = $rig_id)
ORDER BY entry_no
LIMIT $limit
"""
_EVENTS_OF_RIGS = """
SELECT unit_key, body, recorded_at, recorded_by
FROM rig_events
WHERE rig_id IN (SELECT unnest($rig_ids::VARCHAR[]))
ORDER BY rig_id, event_key
"""
_ADD_INSPECTION = """
INSERT INTO inspections (inspection_key, unit_key, body, recorded_at, recorded_by)
VALUES ($inspection_key, $unit_key, $body, $at, $by)
"""
_INSPECTION = """
SELECT body, recorded_at, recorded_by
FROM inspections
WHERE inspection_key = $inspection_key
"""
_INSPECTIONS = """
SELECT i.entry_no, i.body, i.recorded_at, i.recorded_by
FROM inspections AS i
JOIN units AS u ON u.unit_key = i.unit_key
JOIN lots AS l ON l.lot_key = u.lot_key
WHERE i.entry_no > $after AND ($lot_id::VARCHAR IS NULL OR l.lot_id = $lot_id)
ORDER BY i.entry_no
LIMIT $limit
"""
_INSPECTIONS_OF_LOT = """
SELECT i.unit_key, i.body, i.recorded_at, i.recorded_by
FROM inspections AS i
JOIN units AS u ON u.unit_key = i.unit_key
WHERE u.lot_key = $lot_key
ORDER BY i.inspection_key
"""


def set_rig(db: Cursor, rig_id: str, settings: RigSettings, stamp: Stamp) -> Rig:
    """Record settings of a rig; the ones before stay in the record but count no more."""
    db.execute(_ADD_RIG, {"rig_id": rig_id, "body": _json(settings), **_when(stamp)})
    return Rig(rig_id=rig_id, settings=settings, recorded_at=stamp.at, recorded_by=stamp.by)


def find_rig(db: Cursor, rig_id: str) -> Rig | None:
    """A rig's settings as they stand; None if nobody stated any."""
    row = db.execute(_RIG, {"rig_id": rig_id}).fetchone()
    return None if row is None else _rig(row)


def list_rigs(db: Cursor, *, after: str, limit: int) -> list[Rig]:
    """Up to `limit` rigs whose settings were stated, by id from `after` on."""
    rows = db.execute(_RIGS, {"after": after, "limit": limit}).fetchall()
    return [_rig(row) for row in rows]


def rigs_named(db: Cursor, rig_ids: Sequence[str]) -> dict[str, Rig]:
    """Settings of those of the named rigs for which there are any, by id."""
    rows = db.execute(_RIGS_NAMED, {"rig_ids": list(rig_ids)}).fetchall()
    return {row[0]: _rig(row) for row in rows}


def add_rig_event(db: Cursor, event: NewRigEvent, unit_key: int | None, stamp: Stamp) -> RigEvent:
    """Record an event whose key its rig has not used yet."""
    values = {
        "rig_id": event.rig_id,
        "event_key": event.event_key,
        "unit_key": unit_key,
        "body": _json(event),
        **_when(stamp),
    }
    db.execute(_ADD_EVENT, values)
    return RigEvent(event=event, recorded_at=stamp.at, recorded_by=stamp.by)


def find_rig_event(db: Cursor, rig_id: str, event_key: str) -> RigEvent | None:
    """The event that a rig reported under a key; None if there is none."""
    row = db.execute(_EVENT, {"rig_id": rig_id, "event_key": event_key}).fetchone()
    return None if row is None else _event(row)


def list_rig_events(
    db: Cursor, rig_id: str | None, *, after: int, limit: int
) -> list[tuple[int, RigEvent]]:
    """Up to `limit` events of a rig (of all without one), as recorded, with entry numbers."""
    values = {"rig_id": rig_id, "after": after, "limit": limit}
    rows = db.execute(_EVENTS, values).fetchall()
    return [(int(row[0]), _event(row[1:])) for row in rows]


def events_of_rigs(db: Cursor, rig_ids: Sequence[str]) -> list[tuple[int | None, RigEvent]]:
    """Every event of the named rigs, by rig and key, with the key of the unit it names."""
    rows = db.execute(_EVENTS_OF_RIGS, {"rig_ids": list(rig_ids)}).fetchall()
    return [(row[0], _event(row[1:])) for row in rows]


def add_inspection(
    db: Cursor, inspection: NewInspection, unit_key: int, stamp: Stamp
) -> Inspection:
    """Record an inspection whose key was not used yet."""
    values = {
        "inspection_key": inspection.inspection_key,
        "unit_key": unit_key,
        "body": _json(inspection),
        **_when(stamp),
    }
    db.execute(_ADD_INSPECTION, values)
    return Inspection(inspection=inspection, recorded_at=stamp.at, recorded_by=stamp.by)


def find_inspection(db: Cursor, inspection_key: str) -> Inspection | None:
    """The inspection recorded under a key; None if there is none."""
    row = db.execute(_INSPECTION, {"inspection_key": inspection_key}).fetchone()
    return None if row is None else _inspection(row)


def list_inspections(
    db: Cursor, lot_id: str | None, *, after: int, limit: int
) -> list[tuple[int, Inspection]]:
    """Up to `limit` inspections of a lot (of all without one), with entry numbers."""
    values = {"lot_id": lot_id, "after": after, "limit": limit}
    rows = db.execute(_INSPECTIONS, values).fetchall()
    return [(int(row[0]), _inspection(row[1:])) for row in rows]


def inspections_of_lot(db: Cursor, lot_key: int) -> list[tuple[int, Inspection]]:
    """Every inspection of a lot's units, by key, with the key of the unit."""
    rows = db.execute(_INSPECTIONS_OF_LOT, {"lot_key": lot_key}).fetchall()
    return [(int(row[0]), _inspection(row[1:])) for row in rows]


def _json(body: msgspec.Struct) -> str:
    return msgspec.json.encode(body, order="sorted").decode()


def _when(stamp: Stamp) -> dict[str, Any]:
    return {"at": stamp.at, "by": stamp.by}


def _rig(row: tuple[Any, ...]) -> Rig:
    rig_id, body, recorded_at, recorded_by = row
    settings = msgspec.json.decode(body, type=RigSettings)
    return Rig(rig_id=rig_id, settings=settings, recorded_at=recorded_at, recorded_by=recorded_by)


def _event(row: tuple[Any, ...]) -> RigEvent:
    body, recorded_at, recorded_by = row
    event = msgspec.json.decode(body, type=NewRigEvent)
    return RigEvent(event=event, recorded_at=recorded_at, recorded_by=recorded_by)


def _inspection(row: tuple[Any, ...]) -> Inspection:
    body, recorded_at, recorded_by = row
    inspection = msgspec.json.decode(body, type=NewInspection)
    return Inspection(inspection=inspection, recorded_at=recorded_at, recorded_by=recorded_by)
