"""
Storing an uploaded table against a bare load of the same file, as a ratio of one run.

    python tests/benchmarks/upload_speed.py [--rows 10000000] [--rounds 5] [--file F]

Only the storage of a file that lies in the spool already: checks of footer and values, keys,
rows, tallies, the kept original, commit and checkpoint; no HTTP, no lives (upload_to_receipt.py
has those). The floor is `INSERT ... SELECT` of the same columns into a fresh database, text as
VARCHAR, order kept, the same threads and memory limit, checkpoint included. Contenders
alternate, each round in a process of its own; medians are compared. Printed too: processor
time and peak memory of both. Goal: at most 0.9 of the floor, so that lives fit within 1.5 of it.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

ROOT = Path(__file__).resolve().parents[2]
MEMORY_LIMIT = "400MB"
THREADS = 2
UNITS, RUNS, STATIONS = 50, 3, 20
ROW_GROUP_ROWS = 200_000

COMMON = """
import json, os, resource, sys, time
from pathlib import Path
path, folder, memory, threads = sys.argv[1:]

def clock():
    used = os.times()
    return time.perf_counter(), used.user + used.system

def tell(begun):
    wall, used = (now - then for now, then in zip(clock(), begun))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps([wall, used, peak]))
"""
FLOOR = (
    COMMON
    + """
import duckdb
db = duckdb.connect(folder + "/floor.duckdb", config={"memory_limit": memory, "threads": threads})
kinds = db.execute("DESCRIBE SELECT * FROM read_parquet(?)", [path]).fetchall()
told = [(name, "VARCHAR" if "ENUM" in kind else kind) for name, kind, *_ in kinds]
db.execute("CREATE TABLE cycles (" + ", ".join(name + " " + kind for name, kind in told) + ")")
begun = clock()
db.execute("INSERT INTO cycles SELECT * FROM read_parquet(?)", [path])
db.execute("CHECKPOINT")
tell(begun)
"""
)
OURS = (
    COMMON
    + """
import hashlib, shutil
from datetime import UTC, datetime
from schemas.profiles import TableLimits
from service.intake.parquet import read_profile
from service.storage.arrivals import store_upload
from service.storage.arrivals_file import Arrival
from service.storage.store import Store
store = Store.open(Path(folder), memory_limit=memory, threads=int(threads))
spooled = store.spool_folder / "upload.parquet"
shutil.copyfile(path, spooled)
os.sync()
with spooled.open("rb") as file:
    digest = hashlib.file_digest(file, "sha256").hexdigest()
limits = TableLimits(max_rows=10**9, max_columns=64, max_string_length=200)
begun = clock()
arrival = Arrival(
    path=spooled,
    profile=read_profile(spooled, limits),
    sha256=digest,
    byte_count=spooled.stat().st_size,
    received_at=datetime.now(UTC),
    received_from="benchmark",
    max_string_length=200,
)
arrived = store.write_now(
    lambda db: store_upload(
        db, arrival, originals_folder=store.originals_folder, spec_set_pressures={}
    )
)
assert arrived.receipt.stored_rows == arrival.profile.row_count
store.close()
tell(begun)
"""
)


def main() -> None:
    """Run and print."""
    options = argparse.ArgumentParser(description=__doc__.partition("\n\n")[0])
    options.add_argument("--rows", type=float, default=1e7)
    options.add_argument("--rounds", type=int, default=5)
    options.add_argument("--file", type=Path)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-upload-") as folder:
        path = chosen.file or write_table(Path(folder) / "cycles.parquet", int(chosen.rows))
        rounds: dict[str, list[list[float]]] = {"bare load": [], "store": []}
        for _ in range(chosen.rounds):
            for name, program in (("bare load", FLOOR), ("store", OURS)):
                rounds[name].append(run(program, path))
    medians = {
        name: [statistics.median(column) for column in zip(*results, strict=True)]
        for name, results in rounds.items()
    }
    for name, (wall, used, peak) in medians.items():
        print(f"{name:10}  {wall:7.2f} s   processor {used:7.2f} s   peak {peak:5.0f} MB")
    ours, floor = medians["store"], medians["bare load"]
    print(f"ratio       {ours[0] / floor[0]:7.2f}     processor {ours[1] / floor[1]:7.2f}")


def run(program: str, path: Path) -> list[float]:
    """Seconds, processor seconds and peak megabytes of one round."""
    with tempfile.TemporaryDirectory(prefix="bench-upload-") as folder:
        # From a file: the database draws a progress bar for a program given on the command line.
        script = Path(folder) / "round.py"
        script.write_text(program, encoding="utf-8")
        command = [sys.executable, str(script), str(path), folder, MEMORY_LIMIT, str(THREADS)]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        done = subprocess.run(command, check=True, capture_output=True, text=True, env=environment)
        return [float(value) for value in json.loads(done.stdout)]


def write_table(path: Path, row_count: int) -> Path:
    """A cycle table with every column: 50 units in 3 runs each, 20 stations interleaved."""
    rng = np.random.default_rng(1)
    stretches = np.arange(UNITS * RUNS)
    length = row_count // stretches.size
    writer: pq.ParquetWriter | None = None
    for wave, first in enumerate(range(0, stretches.size, STATIONS)):
        running = stretches[first : first + STATIONS]
        for start in range(0, length * running.size, ROW_GROUP_ROWS):
            stop = min(start + ROW_GROUP_ROWS, length * running.size)
            table = rows(rng, np.arange(start, stop), running, wave, length)
            writer = writer or pq.ParquetWriter(path, table.schema, compression="zstd")
            writer.write_table(table)
    assert writer is not None
    writer.close()
    return path


def rows(
    rng: np.random.Generator, numbers: np.ndarray, running: np.ndarray, wave: int, length: int
) -> pa.Table:
    """Some rows of one wave of runs, in the order of time."""
    count = numbers.size
    station, counter = numbers % running.size, numbers // running.size + 1
    peak = np.round(437 + rng.normal(0, 1.5, count), 1)
    peak[rng.random(count) < 0.003] -= 30
    start_us = 1_700_000_000_000_000 + (wave * length + counter) * 3_000_000 + station * 1_000

    def near(centre: float, spread: float, digits: int) -> np.ndarray:
        return np.round(centre + rng.normal(0, spread, count), digits)

    return pa.table(
        {
            "rig_id": texts(["RIG-A"], np.zeros(count)),
            "station_no": station + 1,
            "lot_number": texts(["CC25-0117"], np.zeros(count)),
            "unit_serial": texts(
                [f"CC25-0117-{number:03d}" for number in range(UNITS)], running[station] % UNITS
            ),
            "run_id": texts([f"RIG-A-2026-{wave:05d}"], np.zeros(count)),
            "cycle_in_run": counter,
            "started_at": pa.array(start_us, pa.timestamp("us", tz="UTC")),
            "pressure_peak_bar": peak,
            "pressure_dwell_start_bar": np.round(peak - near(2, 0.2, 1), 1),
            "pressure_dwell_end_bar": np.round(peak - near(4, 0.3, 1), 1),
            "pressure_set_bar": np.full(count, 437.0),
            "pressure_low_bar": near(8, 0.5, 1),
            "pressure_supply_bar": near(480, 2, 1),
            "rise_time_s": near(0.4, 0.02, 3),
            "dwell_time_s": near(1, 0.02, 3),
            "rest_time_s": near(1, 0.02, 3),
            "fluid_temperature_c": near(48, 0.5, 1),
            "unit_temperature_c": near(50, 0.5, 1),
            "station_mode": texts(["TEST", "WARM_UP"], counter <= 5),
            "stop_reason": texts(["E-STOP-17"], np.zeros(count), counter != length),
            "sensor_id": texts([f"PT-{number:04d}" for number in range(STATIONS)], station),
            "calibration_id": texts([f"CAL-{number:04d}" for number in range(STATIONS)], station),
            "station_cycle_total": wave * length + counter,
            "logged_every": np.ones(count, np.int32),
        }
    )


def texts(words: list[str], index: np.ndarray, empty: np.ndarray | None = None) -> pa.Array:
    """Dictionary of texts; `empty` marks cells without one."""
    codes = pa.array(index.astype(np.int32), mask=empty)
    return pa.DictionaryArray.from_arrays(codes, pa.array(words))


if __name__ == "__main__":
    main()
