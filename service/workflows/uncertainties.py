"""The uncertainty of the sensors that read a lot's rows, as the calibrations in force state it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from analysis.reduction.sensor_corrections import own_sensors, records_in_force
from schemas.calibrations import Calibration
from schemas.sensor_corrections import SensorCorrection
from service.storage.lot_facts import LotFacts
from service.storage.row_counts import rows_of_stretches
from service.storage.sensor_corrections import stretch_spans, touched_rows
from service.storage.store import Cursor


def uncertainties_by_stretch(
    db: Cursor, facts: LotFacts, records: Sequence[Calibration]
) -> Mapping[int, float]:
    """
    Expanded uncertainty of the sensors that read a lot's stretches, MPa.

    Parameters
    ----------
    db : Cursor
    facts : LotFacts
    records : sequence of Calibration
        Those that are to hold, in the order of recording.

    Returns
    -------
    mapping of int to float
        By stretch, the largest that holds for any of its rows. A stretch of which some
        row was read by a sensor, or at a time, without one on record is left out: one
        unknown reading is enough not to know.
    """
    found = [part for part in records_in_force(records) if _stated(part.calibration) is not None]
    if not found:
        return {}
    times = [
        SensorCorrection(
            sensor_id=part.calibration.calibration.sensor_id,
            from_at=part.from_at,
            to_at=part.to_at,
            gain=1.0,
            offset_mpa=0.0,
        )
        for part in found
    ]
    first_at, last_at = min(each.from_at for each in times), max(each.to_at for each in times)
    spans = stretch_spans(db, first_at, last_at, lot_key=facts.lot_key)
    known: dict[int, int] = defaultdict(int)
    largest: dict[int, float] = defaultdict(float)
    for rows in touched_rows(db, spans, times, own_sensors(facts.rigs)):
        known[rows.stretch_key] += rows.stored_rows
        stated = _stated(found[rows.place].calibration) or 0.0
        largest[rows.stretch_key] = max(largest[rows.stretch_key], stated)
    rows_in_all = rows_of_stretches(db, known)
    return {key: largest[key] for key, rows in known.items() if rows == rows_in_all.get(key)}


def _stated(record: Calibration) -> float | None:
    return record.calibration.pressure_uncertainty_mpa
