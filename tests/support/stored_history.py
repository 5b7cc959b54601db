"""A long history of hourly uploads: made in the store at once, and continued by real files.

One rig with 20 stations runs several lots side by side; a lot keeps its stations until all of
its units have run. Each upload holds the same number of cycles of every station, the rows of a
lot together, as the service stores them. About one row in a hundred does not count.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import duckdb
import msgspec
from lots_by_hand import approved, assign, register
from msgspec import Struct

from schemas.specs import Spec, SpecVersion
from schemas.uploads import Upload
from service.storage import lots, units
from service.storage.identifiers import opaque_id
from service.storage.store import Cursor, Store

RIG, STATIONS = "RIG-A", 20
FIRST_START = datetime(2025, 1, 6, 6, 0)
SECONDS_A_CYCLE = 2.5
ROWS_AT_A_TIME = 4_000_000
VALUES = """
    CASE WHEN random() < 0.006 THEN 30 ELSE round(33.25 + 0.2 * (random() - 0.5), 2) END
        AS pressure_peak_mpa,
    round(33.0 + 0.1 * random(), 3) AS pressure_dwell_start_mpa,
    round(32.9 + 0.1 * random() - CASE WHEN random() < $spikes THEN 0.8 ELSE 0 END, 3)
        AS pressure_dwell_end_mpa,
    33.25 AS pressure_set_mpa,
    CASE WHEN random() < 0.0005 THEN 0.4 ELSE round(0.1 * random(), 2) END AS pressure_low_mpa,
    round(38 + random(), 1) AS pressure_supply_mpa,
    CASE WHEN random() < 0.0005 THEN 0.6 ELSE round(0.3 + 0.05 * random(), 3) END AS rise_time_s,
    CASE WHEN random() < 0.0005 THEN 1.2 ELSE round(1.5 + 0.01 * random(), 3) END AS dwell_time_s,
    CASE WHEN random() < 0.001 THEN 'NaN' WHEN random() < 0.001 THEN 60.0
        ELSE round(45 + 4 * random(), 1) END::DOUBLE AS fluid_temperature_c,
"""
"""What the sensors tell of a cycle; `$spikes` is the share of cycles over the decay limit."""
_ROWS = f"""
SELECT *,
    wave // $units_of_a_station * $lots_at_once + lot_place AS lot_no,
    wave % $units_of_a_station * $stations_of_a_lot + station_place + 1 AS unit_no,
    wave * {STATIONS} + lot_place * $stations_of_a_lot + station_place + 1 AS stretch_key,
    lot_place * $stations_of_a_lot + station_place + 1 AS station_no,
    TIMESTAMP '{FIRST_START}' + to_milliseconds(2500 * odometer) AS started_at,
    {VALUES}
    CASE WHEN cycle_in_run <= 5 THEN 2 ELSE 1 END AS station_mode_key,
    CASE WHEN cycle_in_run = $cycles_of_a_unit THEN 3 END AS stop_reason_key
FROM (
    SELECT upload_no, lot_place, station_place, odometer, odometer // $cycles_of_a_unit AS wave,
        odometer % $cycles_of_a_unit + 1 AS cycle_in_run
    FROM (
        SELECT upload_no, place // ($cycles * $stations_of_a_lot) AS lot_place,
            place % $stations_of_a_lot AS station_place,
            upload_no * $cycles + place // $stations_of_a_lot % $cycles AS odometer
        FROM (
            SELECT i // ($cycles * {STATIONS}) AS upload_no, i % ($cycles * {STATIONS}) AS place
            FROM range($first_row, $end_row) AS t(i)
        )
    )
)
WHERE $only_lot IS NULL OR lot_no = $only_lot
"""
_INSERT = f"""
INSERT INTO cycle_rows (stretch_key, upload_key, cycle_in_run, started_at, pressure_peak_mpa,
    pressure_dwell_start_mpa, pressure_dwell_end_mpa, pressure_set_mpa, pressure_low_mpa,
    pressure_supply_mpa, rise_time_s, dwell_time_s, fluid_temperature_c, station_mode_key,
    stop_reason_key, station_cycle_total, logged_every)
SELECT stretch_key, upload_no + 1, cycle_in_run, started_at, pressure_peak_mpa,
    pressure_dwell_start_mpa, pressure_dwell_end_mpa, pressure_set_mpa, pressure_low_mpa,
    pressure_supply_mpa, rise_time_s, dwell_time_s, fluid_temperature_c, station_mode_key,
    stop_reason_key, odometer + 1, 1
FROM ({_ROWS})
"""
_COPY = f"""
COPY (
    SELECT '{RIG}' AS rig_id, station_no, format('CC25-{{:04d}}', lot_no) AS lot_number,
        format('CC25-{{:04d}}-{{:03d}}', lot_no, unit_no) AS unit_serial,
        format('{RIG}-{{:05d}}', wave) AS run_id, cycle_in_run,
        started_at AT TIME ZONE 'UTC' AS started_at, pressure_peak_mpa, pressure_dwell_start_mpa,
        pressure_dwell_end_mpa, pressure_set_mpa, pressure_low_mpa, pressure_supply_mpa,
        rise_time_s, dwell_time_s, fluid_temperature_c,
        CASE station_mode_key WHEN 1 THEN 'TEST' ELSE 'WARM_UP' END AS station_mode,
        CASE WHEN stop_reason_key IS NOT NULL THEN 'DONE' END AS stop_reason,
        odometer + 1 AS station_cycle_total
    FROM ({_ROWS})
) TO '{{path}}' (FORMAT parquet, COMPRESSION zstd)
"""
_TALLIES = """
INSERT INTO taken_tallies
SELECT upload_key, stretch_key, count(*), 0, 0, min(cycle_in_run), max(cycle_in_run),
    min(started_at), max(started_at)
FROM cycle_rows
WHERE upload_key BETWEEN $first AND $last
GROUP BY upload_key, stretch_key
ORDER BY upload_key, stretch_key
"""
_TEXTS = "INSERT INTO texts VALUES (1, 'TEST'), (2, 'WARM_UP'), (3, 'DONE')"
_STRETCHES = """
INSERT INTO taken_stretches (stretch_key, rig_id, run_id, station_no, unit_key)
SELECT unnest($keys), $rig_id, $run_id, unnest($station_nos), unnest($unit_keys)
"""
_UPLOADS = """
INSERT INTO uploads (upload_key, upload_id, sha256, table_kind, received_at, received_from,
    byte_count, row_count, column_mask, receipt)
SELECT unnest($keys), unnest($ids), unnest($hashes), 'CYCLES', unnest($times), 'history', 1,
    $row_count, 0, unnest($receipts)
"""


class History(Struct, frozen=True, kw_only=True):
    """
    Who ran when.

    `cycles` of each station are in one upload; `lots_at_once` share the 20 stations
    evenly; each station of a lot runs `units_of_a_station` one after another, each for
    `cycles_of_a_unit`. Only rows of `only_lot` are stored where it is given.
    """

    cycles: int = 1440
    lots_at_once: int = 4
    units_of_a_station: int = 8
    cycles_of_a_unit: int = 60_000
    spikes: float = 0.0
    only_lot: int | None = None

    @property
    def rows_of_an_upload(self) -> int:
        return self.cycles * STATIONS

    @property
    def stations_of_a_lot(self) -> int:
        return STATIONS // self.lots_at_once

    def parameters(self, first_upload: int, upload_count: int) -> dict[str, Any]:
        """What `_ROWS` is bound to for some uploads, numbered from 0."""
        first_row = first_upload * self.rows_of_an_upload
        return {
            "cycles": self.cycles,
            "lots_at_once": self.lots_at_once,
            "stations_of_a_lot": self.stations_of_a_lot,
            "units_of_a_station": self.units_of_a_station,
            "cycles_of_a_unit": self.cycles_of_a_unit,
            "spikes": self.spikes,
            "only_lot": self.only_lot,
            "first_row": first_row,
            "end_row": first_row + upload_count * self.rows_of_an_upload,
        }

    def waves(self, upload_count: int) -> range:
        """Waves of units that have begun after some uploads."""
        return range((upload_count * self.cycles - 1) // self.cycles_of_a_unit + 1)

    def lot_numbers(self, wave: int) -> list[str]:
        """Lots that run in a wave, by place."""
        first = wave // self.units_of_a_station * self.lots_at_once
        return [f"CC25-{first + place:04d}" for place in range(self.lots_at_once)]

    def serials(self, wave: int, lot_number: str) -> list[str]:
        """Units of a lot in a wave, by station."""
        first = wave % self.units_of_a_station * self.stations_of_a_lot + 1
        return [f"{lot_number}-{first + place:03d}" for place in range(self.stations_of_a_lot)]

    def received_at(self, upload_no: int) -> datetime:
        """A minute after the last row of an upload."""
        seconds = SECONDS_A_CYCLE * self.cycles * (upload_no + 1) + 60
        return FIRST_START.replace(tzinfo=UTC) + timedelta(seconds=seconds)


def write_upload(history: History, upload_no: int, path: Path) -> None:
    """Write one upload of a history, numbered from 0, as a file."""
    with duckdb.connect() as db:
        db.execute(f"SELECT setseed({(upload_no * 37 % 997) / 1000})")
        db.execute("SET TimeZone = 'UTC'; SET threads = 1")
        db.execute(_COPY.replace("{path}", str(path)), history.parameters(upload_no, 1))


def fill_history(
    store: Store, history: History, upload_count: int, *, first_upload: int = 0
) -> None:
    """Uploads of a history as facts of a store that has those before, with their keys."""
    if first_upload == 0 and upload_count:
        store.write_now(lambda db: db.execute(_TEXTS) and None)
    known = history.waves(first_upload) if first_upload else range(0)
    for wave in history.waves(upload_count)[len(known) :]:
        store.write_now(partial(_name_wave, history=history, wave=wave))
    for first, count in _portions(history, first_upload, upload_count):
        store.write_now(partial(_add_uploads, history=history, first=first, count=count))


def prepare_lots(store: Store, history: History, upload_count: int, version: SpecVersion) -> None:
    """Register every lot that runs in the first uploads, and assign it a specification."""
    first_starts = FIRST_START.replace(tzinfo=UTC) - timedelta(days=1)
    numbers = {n for wave in history.waves(upload_count) for n in history.lot_numbers(wave)}
    for number in sorted(numbers):
        register(store, number)
        assign(store, version, lot_number=number, at_instant=first_starts)


def approved_spec(store: Store, spec: Spec) -> SpecVersion:
    """The specification, approved in the store."""
    content = msgspec.to_builtins(spec)
    return approved(store, content.pop("spec_id"), **content)


def _portions(history: History, begin: int, upload_count: int) -> Iterator[tuple[int, int]]:
    step = max(ROWS_AT_A_TIME // history.rows_of_an_upload, 1)
    for first in range(begin, upload_count, step):
        yield first, min(step, upload_count - first)


def _name_wave(db: Cursor, history: History, wave: int) -> None:
    """Lots, units and stretches of a wave under the keys that the rows are stored with."""
    unit_keys: list[int] = []
    for number in history.lot_numbers(wave):
        known = lots.lot_key_of_number(db, number)
        lot_key = lots.add_lot(db, number, history.received_at(0)) if known is None else known
        unit_keys += units.ensure_units(db, lot_key, history.serials(wave, number)).values()
    first_key = wave * STATIONS + 1
    assert unit_keys == [*range(first_key, first_key + STATIONS)]
    given = {
        "keys": unit_keys,
        "unit_keys": unit_keys,
        "rig_id": RIG,
        "run_id": f"{RIG}-{wave:05d}",
        "station_nos": [*range(1, STATIONS + 1)],
    }
    db.execute(_STRETCHES, given)


def _add_uploads(db: Cursor, history: History, first: int, count: int) -> None:
    db.execute(_INSERT, history.parameters(first, count))
    db.execute(_TALLIES, {"first": first + 1, "last": first + count})
    receipts = [_receipt(history, number) for number in range(first, first + count)]
    given = {
        "keys": [*range(first + 1, first + count + 1)],
        "ids": [each.upload_id for each in receipts],
        "hashes": [each.sha256 for each in receipts],
        "times": [each.received_at for each in receipts],
        "row_count": history.rows_of_an_upload,
        "receipts": [msgspec.json.encode(each).decode() for each in receipts],
    }
    db.execute(_UPLOADS, given)


def _receipt(history: History, upload_no: int) -> Upload:
    digest = hashlib.sha256(f"history {upload_no}".encode()).hexdigest()
    return Upload(
        upload_id=opaque_id("up", digest),
        sha256=digest,
        table="CYCLES",
        table_version=1,
        received_at=history.received_at(upload_no),
        received_from="history",
        byte_count=1,
        row_count=history.rows_of_an_upload,
        stored_rows=history.rows_of_an_upload,
        duplicate_rows=0,
        conflicting_rows=0,
        lots=[],
    )
