"""Rows go into the store by the quick way or the slow one, and look the same afterwards."""

import pyarrow as pa
import pytest
from parquet_files import START, cycle_columns, table_bytes
from uploads_by_hand import rows_of, upload

from service.storage import arrivals_cycles
from service.storage.store import Store


def test_the_slow_way_stores_what_the_quick_way_stores(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    columns = cycle_columns(
        300,
        lot_number=pa.array(["L1", "L2", "L3"] * 100),
        station_no=pa.array([1, 2, 3] * 100),
        pressure_low_bar=pa.array([8.0, None, float("nan")] * 100),
        stop_reason=pa.array([None] * 299 + ["RIG_STOP"]),
    )
    everything = (
        "SELECT * EXCLUDE (stretch_key, upload_key), station_no FROM cycle_rows "
        "JOIN stretch_bases USING (stretch_key) WHERE upload_key = "
    )
    quick = upload(store, columns)
    assert quick.receipt.stored_rows == 300
    # The same rows one run later, all of them by the slow way.
    monkeypatch.setattr(
        arrivals_cycles, "_maybe_received", lambda _, keyed: {s.stretch_key for s in keyed}
    )
    slow = upload(store, columns | {"run_id": pa.array(["another"] * 300)})
    assert slow.receipt.stored_rows == 300
    both = [
        sorted(map(str, (row[:-5] for row in rows_of(store, f"{everything}{each.upload_key}"))))
        for each in (quick, slow)
    ]
    assert both[0] == both[1]


def test_repeats_inside_a_file_are_found_wherever_they_stand(store: Store) -> None:
    table = pa.table(cycle_columns(1_000))
    for position in (0, 63, 64, 500, 999):
        run = pa.array([f"run {position}"] * 1_001)
        twice = pa.concat_tables([table, table.slice(position, 1)])
        twice = twice.set_column(twice.column_names.index("run_id"), "run_id", run)
        receipt = upload(store, table_bytes(twice)).receipt
        assert (receipt.stored_rows, receipt.duplicate_rows) == (1_000, 1)


def test_rows_of_a_lot_lie_together(store: Store) -> None:
    upload(store, cycle_columns(300, lot_number=pa.array(["L1", "L2", "L3"] * 100)))
    lots = rows_of(
        store,
        "SELECT lot_key FROM cycle_rows JOIN stretch_bases USING (stretch_key) "
        "JOIN units USING (unit_key) ORDER BY cycle_rows.rowid",
    )
    assert [lot for (lot,) in lots] == [1] * 100 + [2] * 100 + [3] * 100


def test_later_rows_of_a_run_need_no_comparison(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    upload(store, cycle_columns(50))
    monkeypatch.setattr(
        arrivals_cycles, "store_repeated", lambda *_: pytest.fail("nothing overlaps")
    )
    later = pa.array(
        [int(START.timestamp() * 1e6) + 3_000_000 * number for number in range(51, 101)],
        pa.timestamp("us", tz="UTC"),
    )
    columns = cycle_columns(50, cycle_in_run=pa.array(range(51, 101)), started_at=later)
    assert upload(store, columns).receipt.stored_rows == 50
