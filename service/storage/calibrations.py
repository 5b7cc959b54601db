"""Recorded calibrations of pressure sensors: only ever added."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import msgspec

from schemas.calibrations import Calibration, NewCalibration
from service.storage.facts import Stamp
from service.storage.identifiers import opaque_id
from service.storage.store import Cursor

_COLUMNS = "entry_no, calibration_id, body, recorded_at, recorded_by"
_ADD = """
INSERT INTO calibrations
    (calibration_key, calibration_id, sensor_id, from_at, to_at, body, recorded_at, recorded_by)
VALUES ($calibration_key, $calibration_id, $sensor_id, $from_at, $to_at, $body, $at, $by)
RETURNING entry_no, calibration_id, body, recorded_at, recorded_by
"""
_BY_KEY = f"SELECT {_COLUMNS} FROM calibrations WHERE calibration_key = $calibration_key"
_BY_ID = f"SELECT {_COLUMNS} FROM calibrations WHERE calibration_id = $calibration_id"
_PAGE = f"""
SELECT {_COLUMNS}
FROM calibrations
WHERE entry_no > $after AND ($sensor_id::VARCHAR IS NULL OR sensor_id = $sensor_id)
ORDER BY entry_no
LIMIT $limit
"""
_DURING = f"""
SELECT {_COLUMNS}
FROM calibrations
WHERE from_at <= $last_at AND to_at > $first_at
ORDER BY entry_no
"""

Numbered = tuple[int, Calibration]
"""A calibration after its number in the order of all facts."""


def add_calibration(db: Cursor, calibration: NewCalibration, stamp: Stamp) -> Numbered:
    """Record a calibration whose key was not used yet."""
    values = {
        "calibration_key": calibration.calibration_key,
        "calibration_id": opaque_id("cal", calibration.calibration_key),
        "sensor_id": calibration.sensor_id,
        "from_at": calibration.from_at,
        "to_at": calibration.to_at,
        "body": msgspec.json.encode(calibration, order="sorted").decode(),
        "at": stamp.at,
        "by": stamp.by,
    }
    return _numbered(db.execute(_ADD, values).fetchall()[0])


def find_by_key(db: Cursor, calibration_key: str) -> Numbered | None:
    """The calibration recorded under a key; None if there is none."""
    row = db.execute(_BY_KEY, {"calibration_key": calibration_key}).fetchone()
    return None if row is None else _numbered(row)


def find_by_id(db: Cursor, calibration_id: str) -> Numbered | None:
    """A calibration by its id; None if there is none."""
    row = db.execute(_BY_ID, {"calibration_id": calibration_id}).fetchone()
    return None if row is None else _numbered(row)


def list_calibrations(
    db: Cursor, sensor_id: str | None, *, after: int, limit: int
) -> list[Numbered]:
    """Up to `limit` calibrations of a sensor (of all without one), as recorded."""
    values = {"sensor_id": sensor_id, "after": after, "limit": limit}
    return [_numbered(row) for row in db.execute(_PAGE, values).fetchall()]


def calibrations_during(db: Cursor, first_at: datetime, last_at: datetime) -> list[Numbered]:
    """Calibrations of any sensor about a time, ends included, as recorded."""
    values = {"first_at": first_at, "last_at": last_at}
    return [_numbered(row) for row in db.execute(_DURING, values).fetchall()]


def _numbered(row: tuple[Any, ...]) -> Numbered:
    entry_no, calibration_id, body, recorded_at, recorded_by = row
    return int(entry_no), Calibration(
        calibration_id=calibration_id,
        calibration=msgspec.json.decode(body, type=NewCalibration),
        recorded_at=recorded_at,
        recorded_by=recorded_by,
    )
