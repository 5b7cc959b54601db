"""Which lots and units a withdrawal or a correction speaks of."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from msgspec import Struct

from schemas.corrections import CorrectionScope
from service.storage.arrivals_written import Place
from service.storage.store import Cursor

_UNIT = "SELECT DISTINCT l.lot_number, u.unit_serial"
_LOTS_AT = """
SELECT DISTINCT u.lot_key
FROM stretch_bases AS b
JOIN units AS u ON u.unit_key = b.unit_key
JOIN (
    SELECT unnest($rig_ids::VARCHAR[]) AS rig_id, unnest($run_ids::VARCHAR[]) AS run_id,
        unnest($station_nos::INTEGER[]) AS station_no
) AS places USING (rig_id, run_id, station_no)
"""
_LOTS_NUMBERED = """
SELECT lot_key FROM lots WHERE lot_number IN (SELECT unnest($lot_numbers::VARCHAR[]))
"""
_UNITS_OF_ROWS = f"""
{_UNIT}
FROM upload_stretches AS t
JOIN stretch_bases AS b ON b.stretch_key = t.stretch_key
JOIN units AS u ON u.unit_key = b.unit_key
JOIN lots AS l ON l.lot_key = u.lot_key
WHERE t.upload_key = $upload_key
"""
_UNITS_OF_LIVES = f"""
{_UNIT}
FROM uploaded_lives AS t
JOIN units AS u ON u.unit_key = t.unit_key
JOIN lots AS l ON l.lot_key = u.lot_key
WHERE t.upload_key = $upload_key
"""
_UNITS_AT = f"""
{_UNIT}
FROM stretch_bases AS b
JOIN units AS u ON u.unit_key = b.unit_key
JOIN lots AS l ON l.lot_key = u.lot_key
JOIN (
    SELECT unnest($rig_ids::VARCHAR[]) AS rig_id, unnest($run_ids::VARCHAR[]) AS run_id,
        unnest($station_nos::INTEGER[]) AS station_no
) AS places USING (rig_id, run_id, station_no)
"""
_PLACES_OF_UNITS = """
WITH asked AS (
    SELECT unnest($lot_numbers::VARCHAR[]) AS lot_number, unnest($serials::VARCHAR[]) AS serial
)
SELECT DISTINCT b.rig_id, b.run_id, b.station_no
FROM taken_tallies AS t
JOIN taken_stretches AS b ON b.stretch_key = t.stretch_key
JOIN units AS u ON u.unit_key = b.unit_key
JOIN lots AS l ON l.lot_key = u.lot_key
JOIN asked AS a ON a.lot_number = l.lot_number
    AND (a.serial IS NULL OR a.serial = u.unit_serial)
JOIN uploads AS p ON p.upload_key = t.upload_key
WHERE t.upload_key NOT IN (SELECT upload_key FROM withdrawals)
    AND coalesce(p.upload_id = $upload_id, TRUE)
    AND coalesce(b.rig_id = $rig_id, TRUE)
    AND coalesce(b.run_id = $run_id, TRUE)
    AND coalesce(b.station_no = $station_no, TRUE)
    AND coalesce(t.last_cycle_in_run >= $first_cycle, TRUE)
    AND coalesce(t.first_cycle_in_run <= $last_cycle, TRUE)
    AND coalesce(t.last_started_at >= timezone('UTC', $since::TIMESTAMPTZ), TRUE)
    AND coalesce(t.first_started_at < timezone('UTC', $before::TIMESTAMPTZ), TRUE)
ORDER BY b.rig_id, b.run_id, b.station_no
"""
_HAS_LIVES = """
WITH asked AS (
    SELECT unnest($lot_numbers::VARCHAR[]) AS lot_number, unnest($serials::VARCHAR[]) AS serial
)
SELECT count(*) > 0
FROM uploaded_lives AS t
JOIN units AS u ON u.unit_key = t.unit_key
JOIN lots AS l ON l.lot_key = u.lot_key
JOIN asked AS a ON a.lot_number = l.lot_number
    AND (a.serial IS NULL OR a.serial = u.unit_serial)
"""


def lots_at(db: Cursor, places: Sequence[Place]) -> set[int]:
    """Lots with rows at some places."""
    if not places:
        return set()
    return {int(row[0]) for row in db.execute(_LOTS_AT, _columns(places)).fetchall()}


def lots_numbered(db: Cursor, lot_numbers: Collection[str]) -> set[int]:
    """Lots by the shop's numbers, as far as they are known."""
    rows = db.execute(_LOTS_NUMBERED, {"lot_numbers": [*lot_numbers]}).fetchall()
    return {int(row[0]) for row in rows}


def units_of_rows(db: Cursor, upload_key: int) -> set[tuple[str, str]]:
    """Lot numbers and serials of the units that rows of an upload stand under."""
    return _named(db, _UNITS_OF_ROWS, upload_key)


def units_of_lives(db: Cursor, upload_key: int) -> set[tuple[str, str]]:
    """The same for the lives of an upload."""
    return _named(db, _UNITS_OF_LIVES, upload_key)


def _named(db: Cursor, statement: str, upload_key: int) -> set[tuple[str, str]]:
    rows = db.execute(statement, {"upload_key": upload_key}).fetchall()
    return {(str(lot_number), str(serial)) for lot_number, serial in rows}


class WrittenRows(Struct, frozen=True, kw_only=True):
    """Units under which rows may stand, a lot without serial being all of it, and the scope."""

    units: list[tuple[str, str | None]]
    scope: CorrectionScope


def places_of_units(db: Cursor, written: WrittenRows) -> list[Place]:
    """Places at which rows within a scope stand, or ever stood, under some units."""
    scope = written.scope
    values = {
        "lot_numbers": [lot_number for lot_number, _ in written.units],
        "serials": [serial for _, serial in written.units],
        "upload_id": scope.upload_id,
        "rig_id": scope.rig_id,
        "run_id": scope.run_id,
        "station_no": scope.station_no,
        "first_cycle": scope.first_cycle_in_run,
        "last_cycle": scope.last_cycle_in_run,
        "since": scope.started_from,
        "before": scope.started_before,
    }
    rows = db.execute(_PLACES_OF_UNITS, values).fetchall()
    return [(str(rig), str(run), int(station)) for rig, run, station in rows]


def units_at(db: Cursor, places: Sequence[Place]) -> set[tuple[str, str]]:
    """Lot numbers and serials of the units with rows at some places."""
    if not places:
        return set()
    rows = db.execute(_UNITS_AT, _columns(places)).fetchall()
    return {(str(lot_number), str(serial)) for lot_number, serial in rows}


def has_lives(db: Cursor, units: Sequence[tuple[str, str | None]]) -> bool:
    """Whether a lives table brought lives of some units that count."""
    values = {"lot_numbers": [lot for lot, _ in units], "serials": [serial for _, serial in units]}
    row = db.execute(_HAS_LIVES, values).fetchone()
    assert row is not None  # an aggregate without groups always gives a row
    return bool(row[0])


def _columns(places: Sequence[Place]) -> dict[str, list[str] | list[int]]:
    return {
        "rig_ids": [rig_id for rig_id, _, _ in places],
        "run_ids": [run_id for _, run_id, _ in places],
        "station_nos": [station_no for _, _, station_no in places],
    }
