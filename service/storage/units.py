"""Units of a lot: named by uploads and records, or listed as its sample."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from msgspec import UNSET, Struct

from schemas.lots import NewUnit, Unit
from service.errors import NotFound
from service.storage.facts import Stamp
from service.storage.identifiers import opaque_id
from service.storage.store import Cursor

_UNIT_COLUMNS = """
    u.unit_key, u.unit_id, l.lot_id, l.lot_number, u.unit_serial,
    s.unit_key IS NOT NULL AS listed, s.component_batch
FROM units AS u
JOIN lots AS l ON l.lot_key = u.lot_key
LEFT JOIN sample_units AS s ON s.unit_key = u.unit_key
"""
_BY_ID = f"SELECT {_UNIT_COLUMNS} WHERE u.unit_id = $unit_id"
_OF_LOT = f"""
SELECT {_UNIT_COLUMNS}
WHERE u.lot_key = $lot_key AND u.unit_key > $after
ORDER BY u.unit_key
LIMIT $limit
"""
_NAMED = f"""
SELECT {_UNIT_COLUMNS}
WHERE u.lot_key = $lot_key AND u.unit_serial IN (SELECT unnest($serials::VARCHAR[]))
"""
_NAMED_KEYS = """
SELECT unit_serial, unit_key
FROM units
WHERE lot_key = $lot_key AND unit_serial IN (SELECT unnest($serials::VARCHAR[]))
"""
_LOT_NUMBER = "SELECT lot_number FROM lots WHERE lot_key = $lot_key"
_LAST_KEY = "SELECT coalesce(max(unit_key), 0) FROM units"
_ADD_UNITS = """
INSERT INTO units (unit_key, unit_id, lot_key, unit_serial)
SELECT unnest($keys), unnest($ids), $lot_key, unnest($serials)
"""
_ADD_TO_SAMPLE = """
INSERT INTO sample_units (unit_key, component_batch, recorded_at, recorded_by)
SELECT unnest($keys), unnest($batches::VARCHAR[]), $at, $by
"""


class StoredUnit(Struct, frozen=True, kw_only=True):
    """A unit with the internal key under which its rows and records are stored."""

    unit_key: int
    unit: Unit


def find_unit(db: Cursor, unit_id: str) -> StoredUnit:
    """
    One unit.

    Raises
    ------
    NotFound
        If no upload, record or sample named such a unit.
    """
    row = db.execute(_BY_ID, {"unit_id": unit_id}).fetchone()
    if row is None:
        raise NotFound("unit", unit_id)
    return _stored(row)


def list_units(db: Cursor, lot_key: int, *, after: int, limit: int) -> list[StoredUnit]:
    """Up to `limit` units of a lot, in the order in which they were first named."""
    values = {"lot_key": lot_key, "after": after, "limit": limit}
    return [_stored(row) for row in db.execute(_OF_LOT, values).fetchall()]


def find_named_units(db: Cursor, lot_key: int, serials: Sequence[str]) -> dict[str, StoredUnit]:
    """Those of the named units of a lot that are known, by serial."""
    values = {"lot_key": lot_key, "serials": list(serials)}
    found = [_stored(row) for row in db.execute(_NAMED, values).fetchall()]
    return {each.unit.unit_serial: each for each in found}


def ensure_units(db: Cursor, lot_key: int, serials: Sequence[str]) -> dict[str, int]:
    """
    Internal key of each named unit of a lot; one that nobody named yet becomes known.

    Parameters
    ----------
    serials : sequence of str
        Each once.
    """
    values = {"lot_key": lot_key, "serials": list(serials)}
    known = {serial: int(key) for serial, key in db.execute(_NAMED_KEYS, values).fetchall()}
    new = [serial for serial in serials if serial not in known]
    if not new:
        return known
    row = db.execute(_LAST_KEY).fetchone()
    first_key = (int(row[0]) if row is not None else 0) + 1
    keys = list(range(first_key, first_key + len(new)))
    lot_number = _lot_number(db, lot_key)
    ids = [opaque_id("unit", lot_number, serial) for serial in new]
    db.execute(_ADD_UNITS, {"keys": keys, "ids": ids, "lot_key": lot_key, "serials": new})
    return {**known, **dict(zip(new, keys, strict=True))}


def add_to_sample(db: Cursor, lot_key: int, units: Sequence[NewUnit], stamp: Stamp) -> None:
    """List units, not listed yet, as the lot's sample."""
    if not units:
        return
    keys = ensure_units(db, lot_key, [unit.unit_serial for unit in units])
    values = {
        "keys": [keys[unit.unit_serial] for unit in units],
        "batches": [unit.component_batch for unit in units],
        "at": stamp.at,
        "by": stamp.by,
    }
    db.execute(_ADD_TO_SAMPLE, values)


def _lot_number(db: Cursor, lot_key: int) -> str:
    row = db.execute(_LOT_NUMBER, {"lot_key": lot_key}).fetchone()
    assert row is not None  # the key was given by `service.storage.lots`
    return str(row[0])


def _stored(row: tuple[Any, ...]) -> StoredUnit:
    unit_key, unit_id, lot_id, lot_number, unit_serial, listed, component_batch = row
    unit = Unit(
        unit_id=unit_id,
        lot_id=lot_id,
        lot_number=lot_number,
        unit_serial=unit_serial,
        listed=listed,
        component_batch=UNSET if component_batch is None else component_batch,
    )
    return StoredUnit(unit_key=unit_key, unit=unit)
