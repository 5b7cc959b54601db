"""Everything that is on record about one lot, read for its reduction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from msgspec import Struct

from schemas.holds import HoldAnswer
from schemas.lots import Assignment, NewInspection, NewRigEvent, RigSettings
from schemas.sample_draws import SampleDraw
from schemas.sensor_corrections import RowCorrection
from service.storage import corrections, dispositions, failure_records, lots, records, sample_draws
from service.storage.failure_records import StoredFailureRecord
from service.storage.moved_records import inspections_now, unit_moves
from service.storage.rig_clocks import (
    NeighbourRecord,
    StationRecord,
    read_history,
    read_neighbours,
    read_stations,
)
from service.storage.store import Cursor

_UNITS = """
SELECT u.unit_key, u.unit_id, u.unit_serial, s.unit_key IS NOT NULL AS listed, s.component_batch
FROM units AS u
LEFT JOIN sample_units AS s ON s.unit_key = u.unit_key
WHERE u.lot_key = $lot_key
ORDER BY u.unit_serial, u.unit_key
"""
_STRETCHES = """
SELECT t.stretch_key, t.unit_key, t.rig_id, t.run_id, t.station_no,
    md5(string_agg(p.sha256 || ' ' || t.stored_rows || ' ' || t.conflicting_rows, ','
        ORDER BY p.sha256)) AS rows_key,
    max(t.last_started_at) AS last_started_at, min(t.first_started_at) AS first_started_at,
    sum(t.conflicting_rows)::BIGINT AS conflicting_rows
FROM seen AS t
JOIN uploads AS p ON p.upload_key = t.upload_key
JOIN units AS u ON u.unit_key = t.unit_key
WHERE u.lot_key = $lot_key AND t.stored_rows + t.conflicting_rows > 0
GROUP BY t.stretch_key, t.unit_key, t.rig_id, t.run_id, t.station_no
ORDER BY t.rig_id, t.run_id, t.station_no, t.stretch_key
"""
_DECLARED = """
SELECT d.unit_key, d.ending, d.cycles, d.cycles_low, d.cycles_high, d.failure_mode,
    d.component_batch
FROM uploaded_lives AS d
JOIN units AS u ON u.unit_key = d.unit_key
WHERE u.lot_key = $lot_key
ORDER BY d.unit_key, d.upload_key
"""
_RECEIVED = """
SELECT max(p.received_at)
FROM uploads AS p
WHERE p.upload_key IN (
    SELECT t.upload_key FROM upload_stretches AS t
    JOIN stretch_bases AS b ON b.stretch_key = t.stretch_key
    JOIN units AS u ON u.unit_key = b.unit_key
    WHERE u.lot_key = $lot_key AND t.stored_rows + t.conflicting_rows > 0
    UNION ALL
    SELECT d.upload_key FROM uploaded_lives AS d
    JOIN units AS u ON u.unit_key = d.unit_key WHERE u.lot_key = $lot_key)
"""
_LOT = """
SELECT l.lot_number, r.lot_key IS NOT NULL AS registered
FROM lots AS l
LEFT JOIN lot_registrations AS r ON r.lot_key = l.lot_key
WHERE l.lot_key = $lot_key
"""
_RIGS = """
SELECT DISTINCT b.rig_id
FROM stretch_bases AS b
JOIN units AS u ON u.unit_key = b.unit_key
WHERE u.lot_key = $lot_key
ORDER BY b.rig_id
"""
_TEXTS = "SELECT text_key, text FROM texts ORDER BY text_key"


class UnitRecord(Struct, frozen=True, kw_only=True):
    """A unit of the lot. `listed` is false for a serial that the sample does not name."""

    unit_key: int
    unit_id: str
    unit_serial: str
    listed: bool
    component_batch: str | None


class StretchRecord(Struct, frozen=True, kw_only=True):
    """
    A stretch of the lot; `rows_key` changes whenever its stored rows do.

    `last_started_at` is its last start that can be believed.
    """

    stretch_key: int
    unit_key: int
    rig_id: str
    run_id: str
    station_no: int
    rows_key: str
    last_started_at: datetime
    first_started_at: datetime
    conflicting_rows: int


class DeclaredRecord(Struct, frozen=True, kw_only=True):
    """A life from a lives table."""

    unit_key: int
    ending: str
    cycles: int | None
    cycles_low: int | None
    cycles_high: int | None
    failure_mode: str | None
    component_batch: str | None


class LotFacts(Struct, frozen=True, kw_only=True):
    """
    Every fact that can change a life or a verdict of the lot.

    `answers` are the newest signed answers to holds of its units, by hold;
    `sensor_corrections` what calibrations make of readings, by stretch; `uncertainties`
    the expanded uncertainty of their sensors, MPa, where it is on record for every row.
    `changes` are the ids of withdrawals and corrections that touched the lot, `draws` how its
    sample was drawn.
    """

    lot_key: int
    lot_id: str
    lot_number: str
    registered: bool
    assignment: Assignment | None
    units: list[UnitRecord]
    stretches: list[StretchRecord]
    stations: list[StationRecord]
    neighbours: list[NeighbourRecord]
    declared: list[DeclaredRecord]
    inspections: list[tuple[int, NewInspection]]
    events: list[tuple[int | None, NewRigEvent]]
    rigs: dict[str, RigSettings]
    received_at: datetime | None
    answers: dict[str, HoldAnswer] = {}
    failure_records: list[StoredFailureRecord] = []
    sensor_corrections: Mapping[int, list[RowCorrection]] = {}
    uncertainties: Mapping[int, float] = {}
    changes: list[str] = []
    draws: list[SampleDraw] = []


def read_lot_facts(db: Cursor, lot_id: str) -> LotFacts:
    """
    All facts of a lot.

    Parameters
    ----------
    db : Cursor
    lot_id : str

    Returns
    -------
    LotFacts

    Raises
    ------
    NotFound
        If there is no such lot.
    """
    lot_key = lots.lot_key_of(db, lot_id)
    number, registered = _rows(db, _LOT, lot_key)[0]
    read_history(db, [row[0] for row in _rows(db, _RIGS, lot_key)])
    stretches = [_named(StretchRecord, row) for row in _rows(db, _STRETCHES, lot_key)]
    rig_ids = sorted({stretch.rig_id for stretch in stretches})
    changes = corrections.changes_of_lot(db, lot_key)
    moves = unit_moves(db)
    return LotFacts(
        lot_key=lot_key,
        lot_id=lot_id,
        lot_number=number,
        registered=registered,
        assignment=lots.find_assignment(db, lot_key),
        units=_units(db, lot_key, changes),
        changes=changes,
        draws=sample_draws.draws_of_lot(db, lot_key),
        stretches=stretches,
        stations=read_stations(db) if rig_ids else [],
        neighbours=read_neighbours(db, lot_key),
        declared=[_named(DeclaredRecord, row) for row in _rows(db, _DECLARED, lot_key)],
        inspections=inspections_now(db, lot_key, moves),
        events=_events(db, rig_ids, moves),
        rigs={rig_id: rig.settings for rig_id, rig in records.rigs_named(db, rig_ids).items()}
        if rig_ids
        else {},
        received_at=_rows(db, _RECEIVED, lot_key)[0][0],
        answers=dispositions.answers_of_lot(db, lot_key),
        failure_records=failure_records.records_of_lot(db, lot_key),
    )


def read_texts(db: Cursor) -> dict[int, str]:
    """Every text of the rows (modes, stop reasons, sensors, calibrations) by key."""
    return dict(db.execute(_TEXTS).fetchall())


def _units(db: Cursor, lot_key: int, changes: Sequence[str]) -> list[UnitRecord]:
    """The lot's units, but for those whose rows all turned out to be no rows of theirs."""
    units = [_named(UnitRecord, row) for row in _rows(db, _UNITS, lot_key)]
    if not changes:
        return units
    emptied = corrections.emptied_units(db, lot_key)
    return [unit for unit in units if unit.unit_key not in emptied]


def _events(
    db: Cursor, rig_ids: Sequence[str], moves: Mapping[int, int]
) -> list[tuple[int | None, NewRigEvent]]:
    if not rig_ids:
        return []
    return [
        (None if unit_key is None else moves.get(unit_key, unit_key), each.event)
        for unit_key, each in records.events_of_rigs(db, rig_ids)
    ]


def _rows(db: Cursor, statement: str, lot_key: int) -> list[tuple[Any, ...]]:
    return db.execute(statement, {"lot_key": lot_key}).fetchall()


def _named(kind: type[Any], row: tuple[Any, ...]) -> Any:
    """The row as a Struct whose fields stand in the order of the columns."""
    return kind(**dict(zip(kind.__struct_fields__, row, strict=True)))
