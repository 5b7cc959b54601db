"""Overlapping uploads of one lot's rows, and what can be said of the lot afterwards."""

from __future__ import annotations

import random
from typing import Any

import msgspec
from lots_by_hand import GOOD, LOW, Rows, lot_id_of, rows_table, run_rows
from uploads_by_hand import upload

from schemas.lives import UnitLife
from service.storage.store import Store
from service.workflows.reduce_lot import lives_of, read_lot

SERIALS = ("001", "002", "003")
SIGNED = {"meaning": "withdrawn", "reason": "the gateway sent another bench's rows"}


def all_rows(rng: random.Random) -> Rows:
    """Three units, two runs each, on two stations; one counter starts again within its run."""
    rows: Rows = []
    for number, serial in enumerate(SERIALS):
        for run in (1, 2):
            peaks = [rng.choice((GOOD, GOOD, GOOD, LOW)) for _ in range(rng.randint(6, 14))]
            name, station = f"{serial}-{run}", 1 + (number + run) % 2
            hour = 10 * run + 2 * number
            rows += run_rows(serial, name, peaks, hour=hour, station_no=station)
            if rng.random() < 0.3:
                rows += run_rows(serial, name, peaks[:4], hour=hour + 1, station_no=station)
    return [{**row, "stop_reason": None} for row in rows]


def overlapping(rows: Rows, rng: random.Random, count: int) -> list[Rows]:
    """So many files of some of the rows; some rows come twice, and some of these differ."""
    files = []
    for _ in range(count):
        first = rng.randrange(len(rows) - 5)
        part = rows[first : first + rng.randint(5, len(rows))]
        part = [dict(row) for row in part if rng.random() < 0.9]
        for row in part:
            if rng.random() < 0.04:
                row["pressure_peak_mpa"] = rng.choice((LOW, 33.5))
        files.append(part or [dict(rows[0])])
    return files


def received(store: Store, files: list[Rows]) -> list[str]:
    """Upload files that differ; ids of the uploads."""
    return [upload(store, rows_table(rows)).receipt.upload_id for rows in files]


def lives_in(store: Store, lot_number: str | None = None) -> list[dict[str, Any]]:
    """Lives of a lot's units as the service tells them; none where nobody named the lot."""
    lot_id = lot_id_of(store) if lot_number is None else lot_id_of(store, lot_number)

    def question(db: Any) -> list[UnitLife]:
        return lives_of(db, read_lot(db, lot_id), keep=False)

    return msgspec.to_builtins(store.read_now(question))
