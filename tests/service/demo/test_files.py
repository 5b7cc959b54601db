"""The files are those of a rig: version 1 of the cycle table, time by time, streamed."""

from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from schemas.cycles import CYCLE_COLUMNS
from service.demo.bundle import LotBundle
from service.demo.files import CYCLE_SCHEMA, write_one_file
from service.demo.lots import DEMO_LOTS, lot, repeated
from service.demo.timetable import plan_lot

TableOf = Callable[[LotBundle], pa.Table]


def instants(table: pa.Table) -> Any:
    return table.column("started_at").cast(pa.int64()).to_numpy()


def runs(table: pa.Table, column: str) -> Iterator[list[Any]]:
    """Values of a column, run by run; the table is in the order of the odometer."""
    names = [
        f"{r} {n}"
        for r, n in zip(*(table.column(c).to_pylist() for c in ("rig_id", "run_id")), strict=True)
    ]
    values = table.column(column).to_pylist()
    edges = [0, *(i for i in range(1, len(names)) if names[i] != names[i - 1]), len(names)]
    return (values[first:end] for first, end in pairwise(edges))


def test_the_columns_are_those_of_the_cycle_table() -> None:
    known = {f"{c.name}_mpa" if c.kind == "PRESSURE" else c.name for c in CYCLE_COLUMNS}
    assert known - set(CYCLE_SCHEMA.names) == {"unit_temperature_c"}
    assert set(CYCLE_SCHEMA.names) <= known


@pytest.mark.parametrize("number", DEMO_LOTS)
def test_a_lot_has_three_to_eight_files_with_all_rows_in_time_order(
    number: str, demo_lots: dict[str, LotBundle]
) -> None:
    bundle = demo_lots[number]
    assert 3 <= len(bundle.files) <= 8
    for file in bundle.files:
        table = pq.read_table(bundle.folder / file.name)
        assert table.schema.equals(CYCLE_SCHEMA)
        assert table.num_rows == file.row_count > 0
        # Only a clock that was set back makes a file run backwards.
        backwards = bool((np.diff(instants(table)) < 0).any())
        assert not backwards or (number == "L06" and "RIG-A" in file.name)


@pytest.mark.parametrize("number", DEMO_LOTS)
def test_counters_start_at_one_in_every_run_and_miss_only_what_was_not_logged(
    number: str, demo_lots: dict[str, LotBundle], table_of: TableOf
) -> None:
    bundle = demo_lots[number]
    resets = run_count = missing = 0
    for counters in runs(table_of(bundle), "cycle_in_run"):
        assert counters[0] == 1
        falls = [after for before, after in pairwise(counters) if after <= before]
        assert all(after == 1 for after in falls)
        missing += sum(max(0, after - before - 1) for before, after in pairwise(counters))
        resets += len(falls)
        run_count += 1
    assert resets == len(bundle.plan.facts.counter_resets)
    # 12,000 cycles of two units of L07, divided by 20.
    assert missing == (2 * 600 if number == "L07" else 0)
    assert run_count == sum(len(unit.runs) for unit in bundle.plan.units)


def test_a_stop_reason_stands_only_on_the_last_row_of_a_run(
    demo_lots: dict[str, LotBundle], table_of: TableOf
) -> None:
    open_runs = 0
    for *before, last in runs(table_of(demo_lots["L08"]), "stop_reason"):
        assert set(before) <= {None}
        open_runs += last is None
    assert open_runs == 20


def test_the_repeated_file_has_the_bytes_of_the_first(demo_lots: dict[str, LotBundle]) -> None:
    bundle = demo_lots["L06"]
    (repeat,) = [file for file in bundle.files if file.kind == "REPEAT"]
    original = repeat.name.replace("_again", "")
    assert (bundle.folder / repeat.name).read_bytes() == (bundle.folder / original).read_bytes()


def test_the_reexport_has_equal_rows_and_a_few_with_another_peak(
    demo_lots: dict[str, LotBundle], table_of: TableOf
) -> None:
    bundle = demo_lots["L06"]
    (file,) = [file for file in bundle.files if file.kind == "REEXPORT"]
    sent = pq.read_table(bundle.folder / file.name)
    first_reading = table_of(bundle)
    sent = sent.cast(first_reading.schema)
    keys = ("rig_id", "run_id", "cycle_in_run", "started_at")
    wanted = set(zip(*(sent.column(key).to_pylist() for key in keys), strict=True))
    places = zip(*(first_reading.column(key).to_pylist() for key in keys), strict=True)
    stored = first_reading.take([i for i, place in enumerate(places) if place in wanted])
    before, after = stored.to_pylist(), sent.to_pylist()
    assert len(before) == len(after) == file.row_count
    changes = [
        {name for name in old if old[name] != new[name]}
        for old, new in zip(before, after, strict=True)
    ]
    assert sum(not names for names in changes) == file.duplicate_rows
    assert changes.count({"pressure_peak_mpa"}) == file.conflicting_rows >= 3
    assert all(31.59 <= row["pressure_peak_mpa"] <= 34.91 for row in after)


def test_one_file_interleaves_the_stations_of_all_rigs(tmp_path: Path) -> None:
    plan = plan_lot(repeated(lot("L01"), 21), scale=0.05)
    file = write_one_file(plan, tmp_path / "rows.parquet")
    table = pq.read_table(tmp_path / "rows.parquet")
    assert table.num_rows == file.row_count == plan.row_count
    assert (np.diff(instants(table)) >= 0).all()
    assert len(set(table.column("unit_serial")[5_000:5_100].to_pylist())) > 10


def test_a_cut_into_more_parts_changes_no_row(
    tmp_path: Path, demo_lots: dict[str, LotBundle], table_of: TableOf
) -> None:
    bundle = demo_lots["L03"]
    write_one_file(bundle.plan, tmp_path / "rows.parquet")
    in_parts = table_of(bundle)
    whole = pq.read_table(tmp_path / "rows.parquet").cast(in_parts.schema)
    order = [(name, "ascending") for name in ("rig_id", "station_no", "station_cycle_total")]
    assert whole.sort_by(order).equals(in_parts)
