"""Values: ranges include their ends, texts are measured in characters, cells may be empty."""

from decimal import Decimal
from typing import Any

import pyarrow as pa
import pytest
from msgspec.structs import replace
from parquet_files import START, cycle_columns, life_columns
from uploads_by_hand import LIMITS, rows_of, upload

from schemas.problems import ProblemError
from service.errors import UploadRefused
from service.storage.store import Store


def findings(store: Store, columns: dict[str, Any], **limits: int) -> list[ProblemError]:
    with pytest.raises(UploadRefused) as refused:
        upload(store, columns, limits=replace(LIMITS, **limits))
    return refused.value.findings


@pytest.mark.parametrize(
    ("column", "good", "bad", "code"),
    [
        ("station_no", [0, 10_000], [-1, 10_001], "NUMBER_OUT_OF_RANGE"),
        ("cycle_in_run", [1, 2**53], [-1, 2**53 + 1], "COUNTER_OUT_OF_RANGE"),
        ("station_cycle_total", [0, 2**53], [-1, 2**53 + 1], "NUMBER_OUT_OF_RANGE"),
        ("logged_every", [1, 1_000_000], [0, 1_000_001], "NUMBER_OUT_OF_RANGE"),
    ],
)
def test_ranges_include_both_ends(
    store: Store, column: str, good: list[int], bad: list[int], code: str
) -> None:
    assert upload(store, cycle_columns(2, **{column: pa.array(good)})).receipt.stored_rows == 2
    for value in bad:
        (finding,) = findings(store, cycle_columns(2, **{column: pa.array([good[0], value])}))
        assert (finding.code, finding.column, finding.rows) == (code, column, [2])


@pytest.mark.parametrize(
    ("instant", "is_taken"),
    [
        (0, True),
        (-1, False),
        # 2200-01-01 00:00 UTC in seconds since 1970.
        (7_258_118_400_000_000 - 1, True),
        (7_258_118_400_000_000, False),
    ],
)
def test_instants_lie_between_1970_and_2200(store: Store, instant: int, is_taken: bool) -> None:
    instants = pa.array([instant], pa.timestamp("us", tz="UTC"))
    columns = cycle_columns(1, started_at=instants)
    if is_taken:
        upload(store, columns)
    else:
        (finding,) = findings(store, columns)
        assert finding.code == "TIMESTAMP_OUT_OF_RANGE"


def test_texts_are_measured_in_characters_and_not_in_bytes(store: Store) -> None:
    upload(
        store,
        cycle_columns(1, rig_id=pa.array(["β" * 20])),
        limits=replace(LIMITS, max_string_length=20),
    )
    (finding,) = findings(
        store, cycle_columns(1, rig_id=pa.array(["β" * 21])), max_string_length=20
    )
    assert (finding.code, finding.column, finding.rows) == ("STRING_TOO_LONG", "rig_id", [1])


def test_an_optional_number_may_be_missing_in_any_way(store: Store) -> None:
    cells = pa.array([0.8, None, float("nan"), float("inf"), float("-inf")])
    upload(store, cycle_columns(5, pressure_low_bar=cells))
    rows = rows_of(
        store,
        "SELECT isnan(pressure_low_mpa), pressure_supply_mpa IS NULL FROM cycle_rows "
        "ORDER BY cycle_in_run",
    )
    assert rows == [(False, True)] + [(True, True)] * 4


def test_optional_texts_and_integers_may_be_empty(store: Store) -> None:
    columns = cycle_columns(
        3,
        stop_reason=pa.array([None, "", "E-STOP"]),
        station_cycle_total=pa.array([None, 7, 8], pa.int64()),
        logged_every=pa.array([None] * 3, pa.int32()),
    )
    upload(store, columns)
    rows = rows_of(
        store,
        "SELECT text, station_cycle_total, logged_every FROM cycle_rows "
        "LEFT JOIN texts ON text_key = stop_reason_key ORDER BY cycle_in_run",
    )
    assert rows == [(None, None, None), (None, 7, None), ("E-STOP", 8, None)]


def test_numbers_may_be_decimals_halves_or_integers(store: Store) -> None:
    peaks = pa.array([Decimal("437.0"), Decimal("438.0"), Decimal("439.0")], pa.decimal128(10, 3))
    lows = pa.array([8.0, 8.5, 9.0]).cast(pa.float16())
    upload(
        store,
        cycle_columns(
            3, pressure_peak_bar=peaks, pressure_low_bar=lows, rise_time_s=pa.array([1, 2, 3])
        ),
    )
    rows = rows_of(
        store,
        "SELECT pressure_peak_mpa, pressure_low_mpa, rise_time_s FROM cycle_rows "
        "ORDER BY cycle_in_run",
    )
    assert rows == [(43.7, 0.8, 1.0), (43.8, 0.85, 2.0), (43.9, 0.9, 3.0)]


def test_counters_may_be_unsigned(store: Store) -> None:
    counter = pa.array([1, 2, 2**53], pa.uint64())
    upload(store, cycle_columns(3, cycle_in_run=counter))
    assert rows_of(store, "SELECT max(cycle_in_run) FROM cycle_rows") == [(2**53,)]


def test_a_life_may_be_empty_where_it_lies_between_two_counts(store: Store) -> None:
    assert upload(store, life_columns()).receipt.stored_rows == 3


def test_the_columns_of_a_file_may_stand_in_any_order(store: Store) -> None:
    columns = cycle_columns()
    upload(store, dict(reversed(columns.items())))
    first = rows_of(store, "SELECT min(started_at), count(*) FROM cycle_rows")
    assert first[0][1] == 20
    assert first[0][0] > START.replace(tzinfo=None)
