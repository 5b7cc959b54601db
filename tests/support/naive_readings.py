"""Readings of a lot's rows that are quick to write and wrong, to be held against its verdict."""

from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

_COLUMNS = ["unit_serial", "rig_id", "run_id", "cycle_in_run"]


def rows_of(folder: Path, truth: dict[str, Any]) -> dict[str, list[Any]]:
    """Rows of all of a lot's files as they were sent, repeats and all."""
    files = [folder / upload["name"] for upload in truth["uploads"]]
    table = pa.concat_tables(pq.read_table(file, columns=_COLUMNS) for file in files)
    return {name: table.column(name).to_pylist() for name in _COLUMNS}


def every_row(rows: dict[str, list[Any]]) -> list[int]:
    """Lives if every row of every file were a cycle."""
    return list(Counter(rows["unit_serial"]).values())


def highest_counter(rows: dict[str, list[Any]]) -> list[int]:
    """Lives if a run were as long as its highest counter and a unit as long as its runs."""
    lives: Counter[str] = Counter()
    for (serial, _, _), highest in _runs(rows).items():
        lives[serial] += highest
    return list(lives.values())


def every_run_a_unit(rows: dict[str, list[Any]]) -> list[int]:
    """Lives if every run were a unit of its own."""
    return list(_runs(rows).values())


def last_run_only(rows: dict[str, list[Any]]) -> list[int]:
    """Lives if a unit's last run in the files were its life."""
    lives = {serial: highest for (serial, _, _), highest in _runs(rows).items()}
    return list(lives.values())


def first_stop_a_failure(rows: dict[str, list[Any]]) -> list[int]:
    """Lives if a unit had failed where it first stopped."""
    firsts: dict[str, int] = {}
    for (serial, _, _), highest in _runs(rows).items():
        firsts.setdefault(serial, highest)
    return list(firsts.values())


def _runs(rows: dict[str, list[Any]]) -> dict[tuple[str, str, str], int]:
    """Highest counter of each run, in the order in which the runs come in the files."""
    highest: dict[tuple[str, str, str], int] = defaultdict(int)
    for serial, rig, run, counter in zip(*(rows[name] for name in _COLUMNS), strict=True):
        key = (serial, rig, run)
        highest[key] = max(highest[key], counter)
    return dict(highest)
