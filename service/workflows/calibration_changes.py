"""Calibrations that changed what rows of a lot say, for whoever rested on them."""

from __future__ import annotations

from analysis.reduction.sensor_corrections import changes_readings
from schemas.calibrations import Calibration
from schemas.decisions import RowChange
from service.storage.store import Cursor
from service.workflows.reduce_lot import LotReading
from service.workflows.row_changes import UnitsChanged
from service.workflows.sensor_corrections import records_about, rows_read


def calibration_changes(db: Cursor, reading: LotReading) -> list[UnitsChanged]:
    """
    Every calibration that changed readings of a lot's units, in the order of recording.

    A good check changes nothing, unless it took the place of a record that did.
    """
    unit_ids = {unit.unit_key: unit.unit_id for unit in reading.facts.units}
    changes = []
    earlier: list[Calibration] = []
    for entry_no, record in records_about(db, reading.facts):
        if changes_readings(record, earlier):
            read = rows_read(db, record.calibration, lot_key=reading.facts.lot_key)
            changes.append(
                UnitsChanged(
                    entry_no=entry_no,
                    change=RowChange(
                        kind="CALIBRATION",
                        record_id=record.calibration_id,
                        recorded_at=record.recorded_at,
                    ),
                    unit_ids=frozenset(unit_ids[each.unit_key] for each in read.units),
                )
            )
        earlier.append(record)
    return [change for change in changes if change.unit_ids]
