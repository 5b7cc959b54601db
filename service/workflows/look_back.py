"""What a calibration touches: units, lots, verdicts without and with it, recorded decisions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analysis.reduction.sensor_corrections import reads_low
from schemas.calibrations import (
    Calibration,
    CalibrationNotice,
    NewCalibration,
    TouchedDecision,
    TouchedLot,
    TouchedUnit,
)
from schemas.decisions import Evaluation, UnitLine
from schemas.dispositions import VerdictStanding
from service.storage import decisions
from service.storage.calibrations import Numbered
from service.storage.lots import lot_ids
from service.storage.store import Cursor
from service.workflows.decision_standing import as_they_stand
from service.workflows.evaluate_lot import evaluate_reading
from service.workflows.reduce_lot import LotReading, read_lot, with_records
from service.workflows.sensor_corrections import RowsRead, UnitRows, records_about

_MOST_DECISIONS = 10_000


def notices_of(said: NewCalibration, read: RowsRead) -> list[CalibrationNotice]:
    """
    What somebody must act on at once because of a calibration.

    Parameters
    ----------
    said : NewCalibration
    read : RowsRead
        Rows that the sensor read in that time.
    """
    highest = max((each.highest_peak_mpa for each in read.units), default=None)
    low = reads_low(said, highest)
    notices = [] if low is None else [low]
    if read.is_uncertain:
        notices.append(CalibrationNotice(code="STATION_HAS_SEVERAL_SENSORS"))
    return notices


def look_back(db: Cursor, numbered: Numbered, read: RowsRead, *, keep: bool) -> list[TouchedLot]:
    """
    Every lot with rows that a sensor read in the time of a calibration.

    Parameters
    ----------
    db : Cursor
    numbered : tuple of int and Calibration
        The record after its number in the order of all facts.
    read : RowsRead
        Those rows.
    keep : bool, keyword only
        Whether to store what had to be computed (needs a write transaction).

    Returns
    -------
    list of TouchedLot
        By lot number, with the verdict as it would be without this record and as it is;
        of earlier decisions those on lots whose evaluation the record changed.
    """
    entry_no, record = numbered
    lots = []
    for lot_key in sorted({each.lot_key for each in read.units}):
        [lot_id] = lot_ids(db, [lot_key])
        reading = read_lot(db, lot_id)
        after = evaluate_reading(db, reading, keep=keep)
        before = evaluate_reading(db, _without(db, reading, record), keep=False)
        rows = [each for each in read.units if each.lot_key == lot_key]
        lots.append(
            TouchedLot(
                lot_id=lot_id,
                lot_number=reading.facts.lot_number,
                units=_units(reading, rows, before, after),
                before=standing_of(before),
                after=standing_of(after),
                decisions=_decided(db, reading, entry_no) if _key(before) != _key(after) else [],
            )
        )
    return sorted(lots, key=lambda lot: lot.lot_number)


def standing_of(evaluation: Evaluation) -> VerdictStanding:
    """The verdict of an evaluation, without its figures."""
    return VerdictStanding(
        verdict=evaluation.verdict,
        kind=evaluation.kind,
        open_hold_count=evaluation.evidence.open_hold_count,
        evaluation_key=_key(evaluation),
    )


def _key(evaluation: Evaluation) -> str:
    return evaluation.provenance.evaluation_key


def _without(db: Cursor, reading: LotReading, record: Calibration) -> LotReading:
    records = [each for _, each in records_about(db, reading.facts)]
    others = [each for each in records if each.calibration_id != record.calibration_id]
    return with_records(db, reading, others)


def _units(
    reading: LotReading, rows: Sequence[UnitRows], before: Evaluation, after: Evaluation
) -> list[TouchedUnit]:
    cycles = {each.unit_key: each.cycles for each in rows}
    was, is_now = _by_unit(before), _by_unit(after)
    return [
        TouchedUnit(
            unit_id=unit.unit_id,
            unit_serial=unit.unit_serial,
            touched_cycles=cycles[unit.unit_key],
            counted_cycles_before=was[unit.unit_id].counted_cycles,
            counted_cycles_after=is_now[unit.unit_id].counted_cycles,
            ending_before=was[unit.unit_id].ending,
            ending_after=is_now[unit.unit_id].ending,
        )
        for unit in reading.facts.units
        if unit.unit_key in cycles
    ]


def _by_unit(evaluation: Evaluation) -> Mapping[str, UnitLine]:
    return {line.unit_id: line for line in evaluation.units}


def _decided(db: Cursor, reading: LotReading, entry_no: int) -> list[TouchedDecision]:
    """Decisions that were recorded before the calibration."""
    lot_key, lot_id = reading.facts.lot_key, reading.facts.lot_id
    found = decisions.list_decisions(db, lot_key, after=0, limit=_MOST_DECISIONS)
    earlier = [each for each in found if each[0] < entry_no]
    return [
        TouchedDecision(
            decision_id=each.decision_id,
            verdict=each.verdict,
            decided_at=each.decided_at,
            decided_by=each.decided_by,
            decision_outdated=each.decision_outdated,
            marks=each.marks,
        )
        for _, each in as_they_stand(db, lot_id, earlier)
    ]
