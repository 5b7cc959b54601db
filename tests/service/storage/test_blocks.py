"""Blocks of counted cycles over real tables against a slow walk over the same rows."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from importlib import resources
from typing import Any

import duckdb
import msgspec
import numpy as np
import pytest
from reduction_builders import FIRST_START, spec
from slow_blocks import blocks_of

from analysis.reduction.blocks import fold_blocks
from analysis.reduction.rules import mode_parameters, stage_one_parameters, streak_text_name
from schemas.blocks import BlockFigures
from service.storage.blocks import BlocksAsked, BlockStage
from service.workflows.stage_one_texts import stage_one_texts

FULL_SCALE = 60.0
SPEC = spec()
WARM_UP_KEY, SENSOR_KEY = 1, 7
TEXTS = {WARM_UP_KEY: "WARM_UP", SENSOR_KEY: "PT-4711"}
NAN = float("nan")
Row = dict[str, Any]
FIGURES = (
    "decays",
    "pressure_decay_mpa",
    "fluid_temperature_c",
    "pressure_peak_mpa",
    "rise_time_s",
)


@pytest.fixture(scope="module")
def tables() -> Iterator[duckdb.DuckDBPyConnection]:
    """The tables of rows as the first migration makes them, in memory."""
    db = duckdb.connect()
    db.execute("SET threads = 1")
    migration = resources.files("service.storage") / "migrations" / "0001_rows.sql"
    db.execute(migration.read_text("utf-8"))
    yield db
    db.close()


def random_rows(seed: int, *, key: int, count: int, kind: str) -> list[Row]:
    """Rows of one stretch: short of pressure in bursts, cells without a reading, gaps."""
    rng = np.random.default_rng([seed, key])
    rows: list[Row] = []
    counter, uncounted = {"WRAP": 65_536 - count // 2}.get(kind, 1), 0
    for n in range(count):
        if n and kind == "RESET" and n == count // 3:
            counter = 1
        uncounted = uncounted - 1 if uncounted else int(rng.integers(1, 9) * (rng.random() < 0.04))
        if not (kind == "GAPS" and (n // 40) % 5 == 2) and rng.random() > 0.02:
            rows.append(_row(rng, key, counter, n, short=bool(uncounted)))
        counter = 0 if counter == 65_535 else counter + 1
    return rows


def _row(rng: np.random.Generator, key: int, counter: int, n: int, *, short: bool) -> Row:
    decay = float(rng.normal(0.06, 0.01))
    return {
        "stretch_key": key,
        "upload_key": 1,
        "cycle_in_run": counter,
        "started_at": FIRST_START + timedelta(hours=5 * key, seconds=2.5 * n),
        "pressure_peak_mpa": 30.0 if short else float(rng.normal(33.25, 0.18)),
        "pressure_dwell_start_mpa": 33.0,
        "pressure_dwell_end_mpa": 33.0 - decay,
        "pressure_low_mpa": 0.1,
        "pressure_supply_mpa": 38.0,
        "rise_time_s": float(rng.choice([0.3, 0.31, 0.35, NAN], p=[0.4, 0.3, 0.29, 0.01])),
        "dwell_time_s": 1.5,
        "fluid_temperature_c": float(
            rng.choice([44.0, 45.5, 47.0, 60.0], p=[0.4, 0.3, 0.29, 0.01])
        ),
        "station_mode": "WARM_UP" if rng.random() < 0.01 else None,
        "station_cycle_total": None,
    }


def fill(db: duckdb.DuckDBPyConnection, rows: list[Row], conflicting: list[Row]) -> None:
    for table, content in (("cycle_rows", rows), ("conflicting_rows", conflicting)):
        db.execute(f"DELETE FROM {table}")
        for row in content:
            stored = {name: value for name, value in row.items() if name != "station_mode"} | {
                "station_mode_key": WARM_UP_KEY if row["station_mode"] else None,
                "sensor_key": SENSOR_KEY,
            }
            marks = ", ".join(f"${name}" for name in stored)
            db.execute(f"INSERT INTO {table} ({', '.join(stored)}) VALUES ({marks})", stored)


def read(
    db: duckdb.DuckDBPyConnection,
    rows: list[Row],
    *,
    block: int,
    conflicting: list[Row] | None = None,
    with_details: bool = True,
) -> dict[str, dict[tuple[int, int], BlockFigures]]:
    """Blocks by variant, then stretch and lap."""
    fill(db, rows, conflicting or [])
    parameters = stage_one_parameters(SPEC, FULL_SCALE) | mode_parameters([])
    stage = BlockStage(db, stage_one_texts(), parameters, streak_text_name(SPEC))
    asked = BlocksAsked(
        stretch_keys={row["stretch_key"] for row in rows},
        conflicting={row["stretch_key"] for row in conflicting or []},
        falling=(),
        block_cycles=block,
        with_details=with_details,
    )
    return {
        variant: fold_blocks(found, TEXTS, block_cycles=block, with_details=with_details)
        for variant, found in stage.read(asked).items()
    }


@pytest.mark.parametrize("kind", ["PLAIN", "GAPS", "RESET", "WRAP"])
@pytest.mark.parametrize("block", [7, 64, 100])
def test_blocks_are_those_of_a_slow_walk_over_the_rows(
    tables: duckdb.DuckDBPyConnection, kind: str, block: int
) -> None:
    rows = [
        *random_rows(block, key=1, count=430, kind=kind),
        *random_rows(block, key=2, count=150, kind="PLAIN"),
    ]
    shuffled = [rows[n] for n in np.random.default_rng(1).permutation(len(rows))]
    found = read(tables, shuffled, block=block)["as_stored"]
    for key in (1, 2):
        slow = blocks_of(
            [row for row in rows if row["stretch_key"] == key],
            msgspec.to_builtins(SPEC),
            FULL_SCALE,
            block=block,
        )
        laps = sorted({each["lap"] for each in slow})
        assert laps == [lap for of_key, lap in sorted(found) if of_key == key]
        assert laps == ([1, 2] if key == 1 and kind in ("RESET", "WRAP") else [1])
        told = [
            {"lap": lap} | dict(zip(_NAMES, row, strict=True))
            for lap in laps
            for row in zip(*(getattr(found[key, lap], name) for name in _NAMES), strict=True)
        ]
        assert len(told) == len(slow)
        for fast, expected in zip(told, slow, strict=True):
            assert {n: v for n, v in fast.items() if n not in FIGURES} == {
                n: v for n, v in expected.items() if n not in FIGURES
            }
            for name in FIGURES:
                assert fast[name] == pytest.approx(expected[name], rel=1e-7)


_NAMES = (
    "counted_cycles",
    "first_cycle_in_run",
    "last_cycle_in_run",
    "first_started_at",
    "missing_cycles",
    *FIGURES,
)


def test_details_are_left_out_unless_they_are_asked_for(tables: duckdb.DuckDBPyConnection) -> None:
    rows = random_rows(3, key=1, count=120, kind="PLAIN")
    full = read(tables, rows, block=50)["as_stored"][1, 1]
    plain = read(tables, rows, block=50, with_details=False)["as_stored"][1, 1]
    assert (plain.first_started_at, plain.pressure_peak_mpa, plain.rise_time_s) == ([], [], [])
    assert plain.pressure_decay_mpa == full.pressure_decay_mpa
    assert full.sensor_id == ["PT-4711"] * len(full.counted_cycles)


def test_a_stretch_without_a_counted_cycle_has_no_block(tables: duckdb.DuckDBPyConnection) -> None:
    rows = [
        row | {"pressure_peak_mpa": 20.0} for row in random_rows(4, key=1, count=90, kind="PLAIN")
    ]
    assert read(tables, rows, block=20)["as_stored"][1, 1].counted_cycles == []


def test_cells_without_a_decay_tell_no_median(tables: duckdb.DuckDBPyConnection) -> None:
    rows = random_rows(5, key=1, count=60, kind="PLAIN")
    silent = [row | {"pressure_dwell_end_mpa": None} for row in rows]
    found = read(tables, silent, block=20)["as_stored"][1, 1]
    assert set(found.decays) == {0}
    assert set(found.pressure_decay_mpa) == {None}
    assert len(found.counted_cycles) >= 2


def test_conflicting_rows_are_read_as_stored_and_both_ways(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = random_rows(6, key=1, count=100, kind="PLAIN")
    counted = [row for row in rows if row["pressure_peak_mpa"] > 31 and row["station_mode"] is None]
    twin = counted[10] | {"pressure_peak_mpa": 20.0}
    found = read(tables, rows, block=10, conflicting=[twin])
    cycles = {variant: sum(laps[1, 1].counted_cycles) for variant, laps in found.items()}
    assert cycles["kindest"] == cycles["as_stored"] == cycles["harshest"] + 1
