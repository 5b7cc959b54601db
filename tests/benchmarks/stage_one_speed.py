"""
Speed of stage one over many rows, as ratios to one scan of the same columns.

Run from the top folder: ``python tests/benchmarks/stage_one_speed.py [rows]``. Three tables
are reduced: without a cycle over the decay limit, with single ones strewn over it, and with
counters that wrap. Processor seconds are told because they depend less on the machine's load.
"""

import sys
import tempfile
import time
from importlib import resources
from pathlib import Path

import duckdb

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from reduction_builders import spec

from analysis.reduction.rules import (
    mode_parameters,
    stage_one_parameters,
    streak_text_name,
)
from service.storage.summaries import StageOne
from service.workflows.stage_one_texts import stage_one_texts

ROWS = 10_000_000
STATIONS = 50
CYCLES_OF_A_STRETCH = 66_668
ROUNDS = 3
MEMORY, THREADS = "400MB", 2

GENERATED = """
INSERT INTO cycle_rows (stretch_key, upload_key, cycle_in_run, started_at, pressure_peak_mpa,
    pressure_dwell_start_mpa, pressure_dwell_end_mpa, pressure_set_mpa, pressure_low_mpa,
    pressure_supply_mpa, rise_time_s, dwell_time_s, fluid_temperature_c, station_mode_key,
    station_cycle_total, logged_every)
SELECT i % $stations + $stations * (i // ($stations * $cycles)), 1,
    (1 + (i // $stations) % $cycles) % $modulus,
    TIMESTAMP '2026-03-02' + to_milliseconds((i // $stations) * 2500),
    CASE WHEN random() < 0.006 THEN 30 ELSE round(33.25 + 0.2 * (random() - 0.5), 2) END,
    round(33.0 + 0.1 * random(), 3),
    round(32.9 + 0.1 * random() - CASE WHEN random() < $spikes THEN 0.8 ELSE 0 END, 3),
    33.25, round(0.1 * random(), 2), round(38 + random(), 1), round(0.3 + 0.05 * random(), 3),
    1.5, round(45 + 4 * random(), 1), 1, i // $stations, 1
FROM range($rows) AS t(i)
"""
SCAN = """
SELECT count(stretch_key), max(cycle_in_run), max(started_at), sum(pressure_peak_mpa),
    sum(pressure_dwell_start_mpa), sum(pressure_dwell_end_mpa), sum(pressure_low_mpa),
    sum(rise_time_s), sum(dwell_time_s), sum(fluid_temperature_c), max(station_mode_key)
FROM cycle_rows
"""


def store_of(folder: str, rows: int, *, spikes: float, modulus: int) -> duckdb.DuckDBPyConnection:
    """A file with rows of clamp cylinders, `spikes` of them over the decay limit."""
    db = duckdb.connect(f"{folder}/rows.duckdb")
    db.execute(f"SET threads = {THREADS}; SET memory_limit = '{MEMORY}'")
    db.execute(f"SET temp_directory = '{folder}/spill'")
    migration = resources.files("service.storage") / "migrations" / "0001_rows.sql"
    db.execute(migration.read_text("utf-8"))
    db.execute("SELECT setseed(0.117)")
    given = {"stations": STATIONS, "cycles": CYCLES_OF_A_STRETCH, "rows": rows}
    db.execute(GENERATED, given | {"spikes": spikes, "modulus": modulus})
    db.execute("CHECKPOINT")
    return db


def seconds(call: object, *arguments: object) -> tuple[float, float]:
    """Smallest elapsed and processor seconds of a few calls."""
    walls, processors = [], []
    for _ in range(ROUNDS):
        wall, processor = time.perf_counter(), time.process_time()
        call(*arguments)
        walls.append(time.perf_counter() - wall)
        processors.append(time.process_time() - processor)
    return min(walls), min(processors)


def measure(name: str, rows: int, *, spikes: float, modulus: int = 2**40) -> None:
    with tempfile.TemporaryDirectory() as folder:
        db = store_of(folder, rows, spikes=spikes, modulus=modulus)
        scan = seconds(lambda: db.execute(SCAN).fetchall())
        keys = [
            row[0] for row in db.execute("SELECT DISTINCT stretch_key FROM cycle_rows").fetchall()
        ]
        print(f"{name}: one scan {scan[0]:.2f} s, processor {scan[1]:.2f} s")
        for rule in ("CONSECUTIVE", "MOVING_AVERAGE"):
            chosen = spec(rule=rule)
            parameters = stage_one_parameters(chosen, 60.0) | mode_parameters([1])
            stage = StageOne(db, stage_one_texts(), parameters, streak_text_name(chosen))
            wall, processor = seconds(stage.run, keys)
            print(
                f"  {rule:<15}{wall:7.2f} s, processor {processor:.2f} s: "
                f"{processor / scan[1]:.1f} scans"
            )
        db.close()


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else ROWS
    print(f"{rows:,} rows, {THREADS} threads, {MEMORY}")
    measure("No exceedance", rows, spikes=0.0)
    measure("One cycle in 500 over the limit", rows, spikes=0.002)
    measure("Counters wrap at 65,535", rows, spikes=0.0, modulus=65_536)


if __name__ == "__main__":
    main()
