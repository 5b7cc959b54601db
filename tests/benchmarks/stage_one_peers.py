"""
Stage one against one scan of its columns, and against pandas and polars on the same file.

Run from the top folder: ``python tests/benchmarks/stage_one_peers.py [rows]``. ``--peers PYTHON``
names an interpreter that has pandas, polars and pyarrow; one that is missing is told so.
The rows are those of tests/support/stored_history.py: 20 stations interleaved, four lots, one
row in a hundred does not count, one in 500 over the decay limit with ``--spikes 0.002``. They
lie in a store and, the same rows, in a Parquet file. Every contender is a process of its own
with one thread, in rotation; told are the smallest processor seconds of the rounds and the
largest peak memory. The peers do the same: totals of each stretch by reasons missed, streaks
of five over the limit, first and last row. Block figures are in none of them. Goals: at most 5
scans, half of each peer, 400 MB.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support")]

from reduction_builders import spec  # noqa: E402
from stored_history import History, approved_spec, fill_history  # noqa: E402

from service.storage.store import Store  # noqa: E402

ROUNDS = 3
COLUMNS = (
    "stretch_key, cycle_in_run, started_at, pressure_peak_mpa, pressure_dwell_start_mpa, "
    "pressure_dwell_end_mpa, pressure_low_mpa, rise_time_s, dwell_time_s, fluid_temperature_c, "
    "station_mode_key, station_cycle_total"
)
TELL = """
import json, os, sys, time
sys.path[:0] = [os.getcwd(), os.getcwd() + "/tests/support"]
database, table = sys.argv[1:]
def tell(work):
    begun = time.process_time()
    work()
    used = time.process_time() - begun
    status = open("/proc/self/status").read()
    print(json.dumps([used, int(status.partition("VmHWM:")[2].split()[0]) / 1024]))
"""
DATABASE = """
import duckdb
db = duckdb.connect(database, config={"threads": 1, "memory_limit": "400MB",
    "preserve_insertion_order": False})
db.execute("SET enable_progress_bar = false")
def scan(source):
    names = NAMES.split(", ")
    tell(lambda: db.execute("SELECT " + ", ".join(
        f"max({n})" if n.endswith(("_at", "_run", "_key")) else f"sum({n})" for n in names)
        + " FROM " + source).fetchall())
""".replace("NAMES", repr(COLUMNS))
OURS = """
from reduction_builders import spec
from analysis.reduction.rules import mode_parameters, stage_one_parameters, streak_text_name
from service.storage.summaries import StageOne
from service.workflows.stage_one_texts import stage_one_texts
chosen = spec(rule=RULE)
keys = [k for k, in db.execute("SELECT DISTINCT stretch_key FROM cycle_rows").fetchall()]
stage = StageOne(db, stage_one_texts(), stage_one_parameters(chosen, 60.0) | mode_parameters([1]),
    streak_text_name(chosen))
tell(lambda: stage.run(keys))
"""
PANDAS = """
import pandas as pd, pyarrow as pa
pa.set_cpu_count(1)
def work():
    d = pd.read_parquet(table)
    decay = d.pressure_dwell_start_mpa - d.pressure_dwell_end_mpa
    pressures = [d.pressure_low_mpa, d.pressure_dwell_start_mpa, d.pressure_dwell_end_mpa]
    bad = (d.pressure_peak_mpa <= 0) | (d.pressure_peak_mpa > 90)
    for each in pressures:
        bad |= (each < -0.1) | (each > 90)
    d["misses"] = (bad * 1 + (d.station_mode_key != 1) * 2 + (d.pressure_peak_mpa > 34.91) * 8
        + (d.pressure_peak_mpa < 31.59) * 16 + (d.pressure_low_mpa > 0.15) * 32
        + (d.rise_time_s > 0.4) * 64 + (d.dwell_time_s < 1.5) * 128
        + ((d.fluid_temperature_c < 37) | (d.fluid_temperature_c > 53)) * 256
        + (d.pressure_low_mpa.isna() | d.rise_time_s.isna() | d.dwell_time_s.isna()
            | d.fluid_temperature_c.isna() | decay.isna()) * 512)
    d["over"] = decay > 0.6
    totals = d.groupby(["stretch_key", "misses"], sort=False).agg(
        cycles=("over", "size"), over=("over", "sum"), lowest=("cycle_in_run", "min"),
        highest=("cycle_in_run", "max"), first=("started_at", "min"), last=("started_at", "max"))
    repeats = d.duplicated(["stretch_key", "cycle_in_run"]).any()
    e = d.loc[(d.misses != 0) | d.over, ["stretch_key", "cycle_in_run", "misses"]]
    e = e.sort_values(["stretch_key", "cycle_in_run"])
    e["island"] = e.cycle_in_run - e.groupby("stretch_key").cumcount()
    streaks = e[e.misses == 0].groupby(["stretch_key", "island"]).size()
    g = d.groupby("stretch_key").cycle_in_run
    ends = d.loc[list(g.idxmin()) + list(g.idxmax())]
    return totals, repeats, streaks[streaks >= 5], ends
tell(work)
"""
POLARS = """
import os
os.environ["POLARS_MAX_THREADS"] = "1"
import polars as pl
def work():
    c = pl.col
    decay = c("pressure_dwell_start_mpa") - c("pressure_dwell_end_mpa")
    bad = (c("pressure_peak_mpa") <= 0) | (c("pressure_peak_mpa") > 90)
    for name in ("pressure_low_mpa", "pressure_dwell_start_mpa", "pressure_dwell_end_mpa"):
        bad |= (c(name) < -0.1) | ((c(name) > 90) & c(name).is_not_nan())
    def over(name, limit):
        return (c(name) > limit) & c(name).is_not_nan()
    bits = [(bad, 1), (c("station_mode_key") != 1, 2), (c("pressure_peak_mpa") > 34.91, 8),
        (c("pressure_peak_mpa") < 31.59, 16), (over("pressure_low_mpa", 0.15), 32),
        (over("rise_time_s", 0.4), 64), (c("dwell_time_s") < 1.5, 128),
        ((c("fluid_temperature_c") < 37) | over("fluid_temperature_c", 53), 256),
        (c("pressure_low_mpa").is_nan() | c("rise_time_s").is_nan() | c("dwell_time_s").is_nan()
            | c("fluid_temperature_c").is_nan() | decay.is_nan(), 512)]
    misses = sum(((b.cast(pl.Int32) * n) for b, n in bits[1:]), bits[0][0].cast(pl.Int32))
    rows = pl.scan_parquet(table).select("stretch_key", "cycle_in_run", "started_at",
        misses.alias("misses"), ((decay > 0.6) & decay.is_not_nan()).alias("over"))
    totals = rows.group_by("stretch_key", "misses").agg(pl.len(), c("over").sum(),
        c("cycle_in_run").min().alias("lowest"), c("cycle_in_run").max().alias("highest"),
        c("started_at").min().alias("first"), c("started_at").max().alias("last"))
    repeats = rows.group_by("stretch_key").agg(pl.len(), c("cycle_in_run").n_unique())
    out = rows.filter((c("misses") != 0) | c("over")).sort("stretch_key", "cycle_in_run")
    out = out.with_columns((c("cycle_in_run") - pl.int_range(pl.len()).over("stretch_key"))
        .alias("island")).filter(c("misses") == 0)
    streaks = out.group_by("stretch_key", "island").agg(pl.len().alias("n")).filter(c("n") >= 5)
    ends = rows.group_by("stretch_key").agg(
        c("misses").get(c("cycle_in_run").arg_min()).alias("first"),
        c("misses").get(c("cycle_in_run").arg_max()).alias("last"))
    return pl.collect_all([totals, repeats, streaks, ends], engine="streaming")
tell(work)
"""


def programs() -> dict[str, str]:
    """Program of each contender."""
    ours = TELL + DATABASE + OURS
    return {
        "scan of the stored columns": TELL + DATABASE + 'scan("cycle_rows")',
        "scan of the file's columns": TELL + DATABASE + "scan(f\"read_parquet('{table}')\")",
        "stage one, consecutive": ours.replace("RULE", "'CONSECUTIVE'"),
        "stage one, moving average": ours.replace("RULE", "'MOVING_AVERAGE'"),
        "pandas, same algorithm": TELL + PANDAS,
        "polars, same algorithm": TELL + POLARS,
    }


def run(python: str, program: str, arguments: list[str]) -> list[float] | None:
    """Processor seconds and peak megabytes; None if the contender is not installed."""
    with tempfile.TemporaryDirectory(prefix="bench-peer-") as folder:
        script = Path(folder) / "contender.py"
        script.write_text(program, encoding="utf-8")
        done = subprocess.run(
            [python, str(script), *arguments],
            cwd=ROOT,
            check=False,
            capture_output=True,
            text=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )
    if "ModuleNotFoundError" in done.stderr:
        return None
    assert done.returncode == 0, done.stderr[-2000:]
    return [float(value) for value in json.loads(done.stdout.strip().splitlines()[-1])]


def main() -> None:
    """Build, run in rotation, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", type=float, nargs="?", default=1e7)
    parser.add_argument("--spikes", type=float, default=0.0)
    parser.add_argument("--peers", default=sys.executable)
    options = parser.parse_args()
    history = History(spikes=options.spikes)
    found: dict[str, list[list[float]]] = {name: [] for name in programs()}
    with tempfile.TemporaryDirectory(prefix="bench-peers-") as temporary:
        store = Store.open(Path(temporary) / "store", memory_limit="400MB", threads=1)
        fill_history(store, history, round(options.rows / history.rows_of_an_upload))
        approved_spec(store, spec())
        # The database writes files into its own folders only.
        table = store.spool_folder / "rows.parquet"
        copy = f"COPY (SELECT {COLUMNS} FROM cycle_rows) TO '{table}' (COMPRESSION zstd)"
        store.read_now(lambda db: db.execute(copy).fetchall())
        store.close()
        arguments = [str(Path(temporary) / "store" / "lotproof.duckdb"), str(table)]
        for _ in range(ROUNDS):
            for name, program in programs().items():
                python = options.peers if name.endswith("algorithm") else sys.executable
                figures = run(python, program, arguments)
                if figures is not None:
                    found[name].append(figures)
    report(found)


def report(found: dict[str, list[list[float]]]) -> None:
    """One line for each contender, in scans of either kind."""
    stored, file = (min(each[0] for each in rounds) for rounds in [*found.values()][:2])
    for name, rounds in found.items():
        if not rounds:
            print(f"{name:28} not installed")
            continue
        used, peak = min(each[0] for each in rounds), max(each[1] for each in rounds)
        print(
            f"{name:28} processor {used:6.2f} s, {used / stored:5.1f} scans of the table, "
            f"{used / file:5.1f} of the file, peak {peak:5.0f} MB"
        )


if __name__ == "__main__":
    main()
