"""When stations and units were last seen, and which other units ran beside a lot's.

The clock of a rig is the newest row that can be believed. A row that starts more than
`MOST_AHEAD` after its upload was received was dated by a clock that was wrong: it moves
neither the clock nor the end of its stretch. Where every row of a stretch in an upload is
dated so, there is nothing else to go by: the stretch keeps its times, and the rig its clock
only if nothing on it can be believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from msgspec import Struct

from service.storage.store import Cursor

MOST_AHEAD = timedelta(days=1)
"""A rig's clock may be ahead of the service's by a time zone, not by more."""

_KEEP = """
CREATE OR REPLACE TEMP TABLE seen AS
SELECT t.upload_key, t.stretch_key, b.rig_id, b.run_id, b.station_no, b.unit_key, t.stored_rows,
    t.conflicting_rows, t.first_started_at, t.last_started_at,
    timezone('UTC', p.received_at) + $most_ahead AS latest, TRUE AS is_believed
FROM upload_stretches AS t
JOIN stretch_bases AS b ON b.stretch_key = t.stretch_key
JOIN uploads AS p ON p.upload_key = t.upload_key
WHERE b.rig_id IN (SELECT unnest($rig_ids::VARCHAR[]))
"""
"""What each upload added to each stretch of some rigs: the history is read once for all that is
asked of it. The last start is one that can be believed, where there is one."""
_AHEAD = "SELECT upload_key, stretch_key, latest FROM seen WHERE last_started_at > latest"
_BELIEVED = """
UPDATE seen
SET last_started_at = coalesce(found.believed, seen.last_started_at),
    is_believed = found.believed IS NOT NULL
FROM (
    SELECT a.upload_key, a.stretch_key, max(r.started_at) AS believed
    FROM (
        SELECT unnest($uploads::INTEGER[]) AS upload_key,
            unnest($stretches::INTEGER[]) AS stretch_key, unnest($latest::TIMESTAMP[]) AS latest
    ) AS a
    LEFT JOIN cycle_rows AS r ON r.upload_key = a.upload_key AND r.stretch_key = a.stretch_key
        AND r.started_at <= a.latest
    GROUP BY a.upload_key, a.stretch_key
) AS found
WHERE found.upload_key = seen.upload_key AND found.stretch_key = seen.stretch_key
"""
_STATIONS = """
SELECT rig_id, station_no, max(last_started_at) AS last_started_at,
    arg_max(stretch_key, last_started_at) AS stretch_key,
    max(last_started_at) FILTER (is_believed) AS believed_at
FROM seen
GROUP BY rig_id, station_no
ORDER BY rig_id, station_no
"""
_NEIGHBOURS = """
WITH own_time AS (
    SELECT min(t.first_started_at) - INTERVAL 1 HOUR AS from_at,
        max(t.last_started_at) + INTERVAL 1 HOUR AS to_at
    FROM seen AS t
    JOIN units AS u ON u.unit_key = t.unit_key
    WHERE u.lot_key = $lot_key
),
spans AS (
    SELECT stretch_key, unit_key, rig_id, run_id, station_no,
        min(first_started_at) AS first_at, max(last_started_at) AS last_at,
        sum(stored_rows)::BIGINT AS row_count
    FROM seen
    WHERE stored_rows > 0 AND last_started_at >= (SELECT from_at FROM own_time)
        AND first_started_at <= (SELECT to_at FROM own_time)
    GROUP BY stretch_key, unit_key, rig_id, run_id, station_no
),
reaching AS (
    SELECT s.*, u.lot_key, u.unit_serial,
        last_at + to_microseconds(CASE WHEN row_count < 2 THEN 0
            ELSE 2 * date_diff('microsecond', first_at, last_at) // (row_count - 1) + 1 END)
            AS reach
    FROM spans AS s
    JOIN units AS u ON u.unit_key = s.unit_key
)
SELECT DISTINCT other.stretch_key, other.unit_key, l.lot_number, other.unit_serial, other.rig_id,
    other.run_id, other.station_no, other.first_at, other.last_at, other.row_count
FROM reaching AS other
JOIN reaching AS own ON own.rig_id = other.rig_id AND own.station_no = other.station_no
    AND own.first_at <= other.reach AND other.first_at <= own.reach
JOIN lots AS l ON l.lot_key = other.lot_key
WHERE own.lot_key = $lot_key AND other.lot_key <> $lot_key
ORDER BY other.stretch_key
"""


class StationRecord(Struct, frozen=True, kw_only=True):
    """
    The newest row of a station, of whatever lot.

    `believed_at` is the newest start that can be believed, None if none can.
    """

    rig_id: str
    station_no: int
    last_started_at: datetime
    stretch_key: int
    believed_at: datetime | None


class NeighbourRecord(Struct, frozen=True, kw_only=True):
    """A stretch of another lot that may have shared a station with the lot's at one time."""

    stretch_key: int
    unit_key: int
    lot_number: str
    unit_serial: str
    rig_id: str
    run_id: str
    station_no: int
    first_at: datetime
    last_at: datetime
    row_count: int


def read_history(db: Cursor, rig_ids: Sequence[str]) -> None:
    """Make the table `seen` of some rigs, which the questions below are asked of."""
    db.execute(_KEEP, {"rig_ids": [*rig_ids], "most_ahead": MOST_AHEAD})
    ahead = db.execute(_AHEAD).fetchall()
    if not ahead:
        return
    # Rows are looked at only where an upload holds such a row: hardly ever.
    names = ("uploads", "stretches", "latest")
    db.execute(_BELIEVED, {name: [row[n] for row in ahead] for n, name in enumerate(names)})


def read_stations(db: Cursor) -> list[StationRecord]:
    """The newest row of every station, after `read_history`."""
    return [_named(StationRecord, row) for row in db.execute(_STATIONS).fetchall()]


def read_neighbours(db: Cursor, lot_key: int) -> list[NeighbourRecord]:
    """Stretches of other lots beside those of a lot, after `read_history`."""
    rows = db.execute(_NEIGHBOURS, {"lot_key": lot_key}).fetchall()
    return [_named(NeighbourRecord, row) for row in rows]


def rig_clocks(stations: Sequence[StationRecord]) -> dict[str, datetime]:
    """
    Newest row of each rig: its clock, against which silence is measured.

    Where no row of a rig can be believed, the newest of all: silence still counts.
    """
    believed: dict[str, datetime] = {}
    told: dict[str, datetime] = {}
    for each in stations:
        told[each.rig_id] = max(each.last_started_at, told.get(each.rig_id, each.last_started_at))
        if each.believed_at is not None:
            known = believed.get(each.rig_id, each.believed_at)
            believed[each.rig_id] = max(each.believed_at, known)
    return told | believed


def _named(kind: type[Any], row: tuple[Any, ...]) -> Any:
    """The row as a Struct whose fields stand in the order of the columns."""
    return kind(**dict(zip(kind.__struct_fields__, row, strict=True)))
