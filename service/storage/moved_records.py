"""Inspections and rig events follow their unit where a correction moved all that is named so."""

from __future__ import annotations

from collections.abc import Mapping

from schemas.corrections import NewCorrection
from schemas.lots import NewInspection
from service.storage import lots, records, units
from service.storage.store import Cursor

_ADD = """
INSERT INTO unit_moves (from_unit_key, to_unit_key, change_id)
SELECT unnest($from_keys::INTEGER[]), unnest($to_keys::INTEGER[]), $change_id
"""
_MOVES = """
SELECT from_unit_key, arg_max(to_unit_key, entry_no) AS to_unit_key
FROM unit_moves
GROUP BY from_unit_key
HAVING to_unit_key <> from_unit_key
"""
_RECORDED = """
SELECT u.unit_serial FROM units AS u
WHERE u.lot_key = $lot_key AND ($serial::VARCHAR IS NULL OR u.unit_serial = $serial)
    AND (u.unit_key IN (SELECT unit_key FROM inspections)
        OR u.unit_key IN (SELECT unit_key FROM rig_events WHERE unit_key IS NOT NULL))
ORDER BY u.unit_serial
"""
_LOTS_OF = """
SELECT unit_key, lot_key FROM units WHERE unit_key IN (SELECT unnest($unit_keys::INTEGER[]))
"""


def recorded_serials(db: Cursor, body: NewCorrection) -> list[str]:
    """Serials, as written, whose inspections or rig events a correction speaks of."""
    lot_key = lots.lot_key_of_number(db, body.written.lot_number)
    values = {"lot_key": lot_key, "serial": body.written.unit_serial}
    return [str(row[0]) for row in db.execute(_RECORDED, values).fetchall()]


def move_records(db: Cursor, body: NewCorrection, serials: list[str], change_id: str) -> None:
    """Record that what names these units, as written, belongs to those of the correction."""
    if not serials:
        return
    from_lot = lots.lot_key_of_number(db, body.written.lot_number)
    to_lot = lots.lot_key_of_number(db, body.belongs_to.lot_number)
    assert from_lot is not None  # both lots are known before a correction is recorded
    assert to_lot is not None
    targets = [body.belongs_to.unit_serial or serial for serial in serials]
    from_keys = units.ensure_units(db, from_lot, serials)
    to_keys = units.ensure_units(db, to_lot, sorted({*targets}))
    values = {
        "from_keys": [from_keys[serial] for serial in serials],
        "to_keys": [to_keys[serial] for serial in targets],
        "change_id": change_id,
    }
    db.execute(_ADD, values)


def unit_moves(db: Cursor) -> dict[int, int]:
    """To which unit the records of each moved one belong; hardly any store has one."""
    return {int(row[0]): int(row[1]) for row in db.execute(_MOVES).fetchall()}


def inspections_now(
    db: Cursor, lot_key: int, moves: Mapping[int, int]
) -> list[tuple[int, NewInspection]]:
    """Inspections of a lot's units by key, with the unit that each belongs to."""
    if not moves:
        return [(key, each.inspection) for key, each in records.inspections_of_lot(db, lot_key)]
    concerned = {*moves, *moves.values()}
    lot_of = {
        int(row[0]): int(row[1])
        for row in db.execute(_LOTS_OF, {"unit_keys": sorted(concerned)}).fetchall()
    }
    sources = {lot_key} | {lot_of[one] for one, to in moves.items() if lot_of[to] == lot_key}
    found = [
        (moves.get(unit_key, unit_key), each.inspection)
        for source in sorted(sources)
        for unit_key, each in records.inspections_of_lot(db, source)
        if lot_of.get(moves.get(unit_key, unit_key), source) == lot_key
    ]
    return sorted(found, key=lambda each: each[1].inspection_key)
