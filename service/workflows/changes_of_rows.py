"""Withdrawals and corrections that touched a lot, for the standing of its recorded verdicts."""

from __future__ import annotations

from schemas.decisions import RowChange
from schemas.lots import Unit
from service.storage.corrections import units_changed
from service.storage.lots import lot_key_of
from service.storage.store import Cursor
from service.workflows.reduce_lot import LotReading
from service.workflows.row_changes import UnitsChanged


def changes_of_rows(db: Cursor, reading: LotReading) -> list[UnitsChanged]:
    """Every withdrawal and correction that touched the lot, in the order of recording."""
    return _changes(db, reading.facts.lot_key) if reading.facts.changes else []


def changes_of_unit(db: Cursor, unit: Unit) -> list[RowChange]:
    """Withdrawals and corrections that speak of a unit, the oldest first."""
    found = _changes(db, lot_key_of(db, unit.lot_id))
    return [each.change for each in found if unit.unit_id in each.unit_ids]


def _changes(db: Cursor, lot_key: int) -> list[UnitsChanged]:
    return [
        UnitsChanged(
            entry_no=each.entry_no,
            unit_ids=frozenset(each.unit_ids),
            change=RowChange(
                kind="UPLOAD_WITHDRAWN" if each.is_withdrawal else "SERIAL_CORRECTED",
                record_id=each.record_id,
                recorded_at=each.recorded_at,
            ),
        )
        for each in units_changed(db, lot_key)
    ]
