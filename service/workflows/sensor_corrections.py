"""What the calibrations in force make of the readings of a lot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC

from msgspec import Struct

from analysis.reduction.sensor_corrections import corrections_of, own_sensors
from schemas.calibrations import Calibration, NewCalibration
from schemas.lots import RigSettings
from schemas.sensor_corrections import NO_SENSOR_KEY, RowCorrection, SensorCorrection
from service.storage import calibrations, records
from service.storage.lot_facts import LotFacts
from service.storage.sensor_corrections import (
    StretchSpan,
    row_corrections,
    stretch_spans,
    touched_rows,
)
from service.storage.store import Cursor


class UnitRows(Struct, frozen=True, kw_only=True):
    """Rows of a unit that a sensor read in the time of a record, and the highest peak shown."""

    lot_key: int
    unit_key: int
    cycles: int
    highest_peak_mpa: float


class RowsRead(Struct, frozen=True, kw_only=True):
    """
    Rows that a sensor read in the time of a record, by unit.

    `is_uncertain` where rows that name no sensor come from a station that has several,
    this one among them: which of them read those rows is not known.
    """

    units: list[UnitRows]
    is_uncertain: bool


def rows_read(db: Cursor, said: NewCalibration, *, lot_key: int | None = None) -> RowsRead:
    """
    Rows that a sensor read in the time of a record.

    Parameters
    ----------
    db : Cursor
    said : NewCalibration
        Of which only the sensor and the time matter.
    lot_key : int, optional, keyword only
        Only rows of this lot.

    Returns
    -------
    RowsRead
        By lot and unit.
    """
    spans = stretch_spans(db, said.from_at, said.to_at, lot_key=lot_key)
    rig_ids = sorted({each.rig_id for each in spans})
    rigs = {name: rig.settings for name, rig in records.rigs_named(db, rig_ids).items()}
    places = {each.stretch_key: (each.lot_key, each.unit_key) for each in spans}
    units: dict[tuple[int, int], UnitRows] = {}
    for rows in touched_rows(db, spans, [_time_of(said)], own_sensors(rigs)):
        lot, unit = place = places[rows.stretch_key]
        known = units.get(place)
        peaks = [rows.highest_peak_mpa, *([known.highest_peak_mpa] if known else [])]
        units[place] = UnitRows(
            lot_key=lot,
            unit_key=unit,
            cycles=rows.stored_rows + (known.cycles if known else 0),
            highest_peak_mpa=max(peaks),
        )
    return RowsRead(
        units=[units[place] for place in sorted(units)],
        is_uncertain=_may_have_read_more(db, spans, said, rigs),
    )


def _may_have_read_more(
    db: Cursor, spans: Sequence[StretchSpan], said: NewCalibration, rigs: Mapping[str, RigSettings]
) -> bool:
    """Whether rows name no sensor where their station has several, this one among them."""
    own = own_sensors(rigs)
    several = [
        each
        for each in spans
        if (each.rig_id, each.station_no) not in own and _is_on(rigs, each, said.sensor_id)
    ]
    guessed = {(each.rig_id, each.station_no): said.sensor_id for each in several}
    found = touched_rows(db, several, [_time_of(said)], guessed)
    return any(rows.sensor_key == NO_SENSOR_KEY for rows in found)


def _is_on(rigs: Mapping[str, RigSettings], span: StretchSpan, sensor_id: str) -> bool:
    settings = rigs.get(span.rig_id)
    named = settings.sensors if settings else []
    return any((s.sensor_id, s.station_no) == (sensor_id, span.station_no) for s in named)


def _time_of(said: NewCalibration) -> SensorCorrection:
    return SensorCorrection(
        sensor_id=said.sensor_id,
        from_at=said.from_at,
        to_at=said.to_at,
        gain=said.gain,
        offset_mpa=said.offset_mpa,
    )


def records_about(db: Cursor, facts: LotFacts) -> list[calibrations.Numbered]:
    """Calibrations of any sensor during the time of a lot's rows, as recorded."""
    if not facts.stretches:
        return []
    first_at = min(each.first_started_at for each in facts.stretches).replace(tzinfo=UTC)
    last_at = max(each.last_started_at for each in facts.stretches).replace(tzinfo=UTC)
    return calibrations.calibrations_during(db, first_at, last_at)


def corrections_by_stretch(
    db: Cursor, facts: LotFacts, records: Sequence[Calibration]
) -> Mapping[int, list[RowCorrection]]:
    """
    What calibrations make of the readings of a lot's stretches.

    Parameters
    ----------
    db : Cursor
    facts : LotFacts
    records : sequence of Calibration
        Those that are to hold, in the order of recording.

    Returns
    -------
    mapping of int to list of RowCorrection
        By stretch; one whose readings were the true pressures is left out.
    """
    found = corrections_of(records)
    if not found:
        return {}
    from_at = min(each.from_at for each in found)
    to_at = max(each.to_at for each in found)
    spans = stretch_spans(db, from_at, to_at, lot_key=facts.lot_key)
    return row_corrections(db, spans, found, own_sensors(facts.rigs))
