"""Rows whose readings a calibration found to be off: which they are, and how they are judged."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import duckdb
from msgspec import Struct

from schemas.sensor_corrections import NO_SENSOR_KEY, RowCorrection, SensorCorrection

_KEEP_CORRECTIONS = """
CREATE OR REPLACE TEMP TABLE row_corrections AS
SELECT unnest($stretches::INTEGER[]) AS stretch_key, unnest($sensors::INTEGER[]) AS sensor_key,
    unnest($froms::TIMESTAMP[]) AS from_at, unnest($tos::TIMESTAMP[]) AS to_at,
    unnest($gains::DOUBLE[]) AS gain, unnest($offsets::DOUBLE[]) AS offset_mpa
"""
_ASKED = """
CREATE OR REPLACE TEMP TABLE asked_rows AS
SELECT unnest($numbers::INTEGER[]) AS number, unnest($stretches::INTEGER[]) AS stretch_key,
    unnest($sensors::INTEGER[]) AS sensor_key, unnest($froms::TIMESTAMP[]) AS from_at,
    unnest($tos::TIMESTAMP[]) AS to_at
"""
_TOUCHED = """
SELECT number, min(started_at) AS first_at, max(started_at) AS last_at,
    count(*) FILTER (is_stored) AS stored_rows, max(pressure_peak_mpa) AS highest_peak_mpa
FROM (
    SELECT stretch_key, sensor_key, started_at, pressure_peak_mpa, TRUE AS is_stored
    FROM cycle_rows SEMI JOIN asked_rows USING (stretch_key)
    UNION ALL
    SELECT stretch_key, sensor_key, started_at, pressure_peak_mpa, FALSE
    FROM conflicting_rows SEMI JOIN asked_rows USING (stretch_key)
) AS r
JOIN asked_rows AS a ON a.stretch_key = r.stretch_key
    AND a.sensor_key = coalesce(r.sensor_key, -1)
    AND r.started_at >= a.from_at AND r.started_at < a.to_at
GROUP BY number
ORDER BY number
"""
_SPANS = """
SELECT t.stretch_key, b.unit_key, u.lot_key, b.rig_id, b.station_no,
    min(t.first_started_at) AS first_at, max(t.last_started_at) AS last_at
FROM upload_stretches AS t
JOIN stretch_bases AS b ON b.stretch_key = t.stretch_key
JOIN units AS u ON u.unit_key = b.unit_key
WHERE t.stored_rows + t.conflicting_rows > 0
    AND ($lot_key::INTEGER IS NULL OR u.lot_key = $lot_key)
GROUP BY t.stretch_key, b.unit_key, u.lot_key, b.rig_id, b.station_no
HAVING max(t.last_started_at) >= $from_at AND min(t.first_started_at) < $to_at
ORDER BY t.stretch_key
"""
_SENSOR_KEYS = """
SELECT text, text_key FROM texts WHERE text IN (SELECT unnest($sensor_ids::VARCHAR[]))
"""
_INSTANT = timedelta(microseconds=1)


class StretchSpan(Struct, frozen=True, kw_only=True):
    """A stretch, where it ran, and the time of its rows, UTC without a zone."""

    stretch_key: int
    unit_key: int
    lot_key: int
    rig_id: str
    station_no: int
    first_at: datetime
    last_at: datetime


OwnSensors = Mapping[tuple[str, int], str]
"""The one sensor of a station by rig and station: that of rows which name none."""


class TouchedRows(Struct, frozen=True, kw_only=True):
    """Rows of one stretch that one sensor read in one time."""

    place: int
    stretch_key: int
    sensor_key: int
    first_at: datetime
    last_at: datetime
    stored_rows: int
    highest_peak_mpa: float


def stretch_spans(
    db: duckdb.DuckDBPyConnection, from_at: datetime, to_at: datetime, *, lot_key: int | None = None
) -> list[StretchSpan]:
    """Stretches of a lot (of all without one) with rows from an instant until before another."""
    values = {"from_at": naive(from_at), "to_at": naive(to_at), "lot_key": lot_key}
    names = StretchSpan.__struct_fields__
    return [
        StretchSpan(**dict(zip(names, row, strict=True)))
        for row in db.execute(_SPANS, values).fetchall()
    ]


def touched_rows(
    db: duckdb.DuckDBPyConnection,
    stretches: Sequence[StretchSpan],
    times: Sequence[SensorCorrection],
    own_sensors: OwnSensors,
) -> list[TouchedRows]:
    """
    Rows of some stretches that sensors read in some times.

    Parameters
    ----------
    db : duckdb.DuckDBPyConnection
    stretches : sequence of StretchSpan
    times : sequence of SensorCorrection
        Of which sensor, and when; what was found does not matter here.
    own_sensors : mapping of (str, int) to str
        For rows that name no sensor.

    Returns
    -------
    list of TouchedRows
        `place` is the number of the time in `times`, from 0.
    """
    asked = _asked(db, stretches, times, own_sensors)
    if not asked:
        return []
    columns = {
        "numbers": [*range(len(asked))],
        "stretches": [stretch.stretch_key for stretch, _, _ in asked],
        "sensors": [sensor_key for _, _, sensor_key in asked],
        "froms": [naive(times[place].from_at) for _, place, _ in asked],
        "tos": [naive(times[place].to_at) for _, place, _ in asked],
    }
    db.execute(_ASKED, columns)
    return [_touched(asked[number], found) for number, *found in db.execute(_TOUCHED).fetchall()]


def _asked(
    db: duckdb.DuckDBPyConnection,
    stretches: Sequence[StretchSpan],
    times: Sequence[SensorCorrection],
    own_sensors: OwnSensors,
) -> list[tuple[StretchSpan, int, int]]:
    """Stretch, number of the time and sensor key of everything that is worth a look at rows."""
    sensor_ids = sorted({each.sensor_id for each in times})
    if not sensor_ids or not stretches:
        return []
    keys = dict(db.execute(_SENSOR_KEYS, {"sensor_ids": sensor_ids}).fetchall())
    asked = []
    for place, time in enumerate(times):
        from_at, to_at = naive(time.from_at), naive(time.to_at)
        for stretch in stretches:
            if stretch.first_at >= to_at or stretch.last_at < from_at:
                continue
            if time.sensor_id in keys:
                asked.append((stretch, place, int(keys[time.sensor_id])))
            if own_sensors.get((stretch.rig_id, stretch.station_no)) == time.sensor_id:
                asked.append((stretch, place, NO_SENSOR_KEY))
    return asked


def _touched(asked: tuple[StretchSpan, int, int], found: Sequence[Any]) -> TouchedRows:
    stretch, place, sensor_key = asked
    first_at, last_at, stored_rows, highest = found
    return TouchedRows(
        place=place,
        stretch_key=stretch.stretch_key,
        sensor_key=sensor_key,
        first_at=first_at,
        last_at=last_at,
        stored_rows=int(stored_rows),
        highest_peak_mpa=highest,
    )


def row_corrections(
    db: duckdb.DuckDBPyConnection,
    stretches: Sequence[StretchSpan],
    corrections: Sequence[SensorCorrection],
    own_sensors: OwnSensors,
) -> dict[int, list[RowCorrection]]:
    """
    What calibrations make of the rows of some stretches.

    Returns
    -------
    dict of int to list of RowCorrection
        By stretch; a stretch of which no row is concerned is left out. Times are cut to
        the rows that are there, so that equal rows and equal corrections give an equal
        answer.
    """
    found: dict[int, list[RowCorrection]] = {}
    for rows in touched_rows(db, stretches, corrections, own_sensors):
        said = corrections[rows.place]
        found.setdefault(rows.stretch_key, []).append(
            RowCorrection(
                stretch_key=rows.stretch_key,
                sensor_key=rows.sensor_key,
                sensor_id=said.sensor_id,
                from_at=rows.first_at,
                to_at=rows.last_at + _INSTANT,
                gain=said.gain,
                offset_mpa=said.offset_mpa,
            )
        )
    return found


def keep_row_corrections(
    db: duckdb.DuckDBPyConnection, corrections: Collection[RowCorrection]
) -> None:
    """Make the table that the text `true_rows` joins; without corrections it is not needed."""
    if not corrections:
        return
    columns = {
        "stretches": [each.stretch_key for each in corrections],
        "sensors": [each.sensor_key for each in corrections],
        "froms": [each.from_at for each in corrections],
        "tos": [each.to_at for each in corrections],
        "gains": [each.gain for each in corrections],
        "offsets": [each.offset_mpa for each in corrections],
    }
    db.execute(_KEEP_CORRECTIONS, columns)


def judged_parts(texts: Mapping[str, str], *, corrected: bool) -> list[str]:
    """
    Texts that judge rows: the conditions once or, of corrected rows, twice.

    Parameters
    ----------
    texts : mapping of str to str
        Stage-one texts by name.
    corrected : bool, keyword only
        Whether true pressures are judged beside the readings.

    Returns
    -------
    list of str
        Parts of a WITH clause in their order, from `source_rows` to `judged_rows`. The
        conditions stand in one text; where they are asked of true pressures too, the same
        text is put under other names.
    """
    judged = texts["judged"]
    if not corrected:
        return [judged]
    of_readings = judged.replace("judged_rows", "rows_as_read")
    of_truth = judged.replace("judged_rows", "true_judged").replace("source_rows", "true_rows")
    return [of_readings, texts["true_rows"], of_truth, texts["found_out"]]


def naive(instant: datetime) -> datetime:
    """The instant as rows are stored: UTC without a zone."""
    return instant.astimezone(UTC).replace(tzinfo=None)
