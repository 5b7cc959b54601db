"""Lives: one row per unit and file, earlier ones kept, equal ones counted once."""

import pyarrow as pa
import pytest
from parquet_files import Columns, life_columns
from uploads_by_hand import rows_of, upload

from service.errors import UploadRefused
from service.storage.store import Store


def lives(*, cycles: list[int | None], **more: list[object]) -> Columns:
    return life_columns(
        cycles=pa.array(cycles, pa.int64()), **{n: pa.array(v) for n, v in more.items()}
    )


def tallies(store: Store, columns: Columns) -> tuple[int, int, int]:
    receipt = upload(store, columns).receipt
    assert receipt.row_count == 3
    return receipt.stored_rows, receipt.duplicate_rows, receipt.conflicting_rows


def test_lives_are_stored_with_their_brackets(store: Store) -> None:
    upload(store, life_columns())
    rows = rows_of(
        store,
        "SELECT unit_serial, ending, cycles, cycles_low, cycles_high, failure_mode, "
        "component_batch FROM uploaded_lives JOIN units USING (unit_key) ORDER BY 1",
    )
    assert rows == [
        ("001", "FAILED", 51_000, None, None, "SEAL_LEAK", None),
        ("002", "FAILED_BETWEEN", None, 60_000, 70_000, None, None),
        ("003", "RUN_OUT", 100_000, None, None, None, None),
    ]


def test_the_same_life_again_is_a_duplicate_and_another_one_conflicts(store: Store) -> None:
    assert tallies(store, life_columns()) == (3, 0, 0)
    assert tallies(store, lives(cycles=[51_000, None, 90_000])) == (0, 2, 1)
    assert tallies(store, lives(cycles=[52_000, None, 90_000])) == (0, 2, 1)
    assert rows_of(store, "SELECT count(*) FROM uploaded_lives") == [(5,)]


def test_an_upload_of_lives_touches_units_and_no_stretches(store: Store) -> None:
    arrived = upload(store, life_columns())
    assert (len(arrived.unit_keys), len(arrived.lot_keys), arrived.stretch_keys) == (3, 1, [])
    assert arrived.receipt.lots[0].unit_count == 3


def test_rows_that_contradict_themselves_are_named(store: Store) -> None:
    columns = life_columns(
        ending=pa.array(["FAILED", "RUN_OUT", "FAILED_BETWEEN"]),
        unit_serial=pa.array(["001", "001", "003"]),
    )
    with pytest.raises(UploadRefused) as refused:
        upload(store, columns)
    found = [(each.code, each.column, each.rows) for each in refused.value.findings]
    assert found == [
        ("LIFE_CONTRADICTORY", "cycles", [2, 3]),
        ("LIFE_CONTRADICTORY", "cycles_low", [3]),
        ("LIFE_CONTRADICTORY", "cycles_low", [2]),
        ("UNIT_REPEATED", "unit_serial", [2]),
    ]
    assert rows_of(store, "SELECT count(*) FROM lots") == [(0,)]


def test_control_characters_are_refused(store: Store) -> None:
    with pytest.raises(UploadRefused) as refused:
        upload(store, life_columns(component_batch=pa.array(["a\tb", None, None])))
    assert refused.value.findings[0].code == "TEXT_NOT_PRINTABLE"


def test_a_table_of_too_many_lives_is_refused(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.storage.arrivals_lives.MOST_LIVES", 2)
    with pytest.raises(UploadRefused) as refused:
        upload(store, life_columns())
    assert refused.value.findings[0].code == "TOO_MANY_ROWS"
