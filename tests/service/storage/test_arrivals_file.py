"""A file is read by its values, never by what it says about them."""

import io
import struct
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from bad_files import BAD_FILES
from parquet_files import cycle_columns, parquet_bytes, with_stated_values
from uploads_by_hand import LIMITS, RECEIVED, fact_counts, rows_of, upload

from schemas.profiles import ColumnProfile
from service.errors import UploadRefused
from service.intake.parquet import read_profile
from service.storage.arrivals_file import Arrival, opened, reading, stored_value
from service.storage.store import Cursor, Store


def arrival_of(store: Store, body: bytes) -> Arrival:
    path = store.spool_folder / "a.parquet"
    path.write_bytes(body)
    return Arrival(
        path=path,
        profile=read_profile(path, LIMITS),
        sha256="00",
        byte_count=len(body),
        received_at=RECEIVED,
        received_from="rig-gateway",
        max_string_length=200,
    )


def test_values_that_the_file_denies_are_still_seen(store: Store) -> None:
    counter = pa.array([*range(1, 19), -77_777, 777_777])
    honest = parquet_bytes(cycle_columns(cycle_in_run=counter), use_dictionary=False)
    lying = with_stated_values(honest, {struct.pack("<q", -77_777): struct.pack("<q", 1)})
    # The premise: taken alone, the database believes the file and finds nothing to refuse.
    arrival = arrival_of(store, lying)
    alone = store.read_now(
        lambda db: db.execute(
            "SELECT count_if(cycle_in_run < 0) FROM read_parquet($file)",
            {"file": str(arrival.path)},
        ).fetchall()
    )
    assert alone == [(0,)]
    with pytest.raises(UploadRefused) as refused:
        upload(store, lying)
    (finding,) = refused.value.findings
    assert (finding.code, finding.rows, finding.row_count) == ("COUNTER_OUT_OF_RANGE", [19], 1)


def test_the_companion_is_gone_afterwards(store: Store) -> None:
    arrival = arrival_of(store, parquet_bytes(cycle_columns()))

    def look(db: Cursor) -> int:
        with opened(db, arrival) as file:
            assert len(list(store.spool_folder.iterdir())) == 2
            return file.find_rows(db, "r.cycle_in_run > 15")[0]

    assert store.read_now(look) == 5
    assert list(store.spool_folder.iterdir()) == [arrival.path]


def test_a_file_that_describes_a_column_in_two_ways_is_refused(store: Store) -> None:
    # The profile was made of one description (text); the other says bytes of any kind.
    arrival = arrival_of(store, parquet_bytes(cycle_columns()))
    target = io.BytesIO()
    binary = pa.array([b"RIG-A"] * 20, pa.binary())
    pq.write_table(pa.table(cycle_columns(rig_id=binary)), target)
    arrival.path.write_bytes(target.getvalue())
    with pytest.raises(UploadRefused) as refused:
        store.read_now(lambda db: _open(db, arrival))
    assert (refused.value.findings[0].code, refused.value.findings[0].column) == (
        "TYPE_NOT_ALLOWED",
        "rig_id",
    )


def _open(db: Cursor, arrival: Arrival) -> None:
    with opened(db, arrival):
        pass


def test_a_file_cut_short_after_its_checks_is_told_as_damaged(store: Store) -> None:
    arrival = arrival_of(store, parquet_bytes(cycle_columns()))
    arrival.path.write_bytes(arrival.path.read_bytes()[:-50])
    with pytest.raises(UploadRefused) as refused:
        store.read_now(lambda db: _open(db, arrival))
    assert refused.value.findings[0].code == "PARQUET_DAMAGED"


@pytest.mark.parametrize(
    ("unit", "sent", "stored"),
    [
        ("mpa", 43.7, 43.7),
        ("bar", 437.0, 43.7),
        ("kpa", 43_700.0, 43.7),
        # 1 lbf/in2 = 4.4482216152605 N / (0.0254 m)2, worked out by hand.
        ("psi", 6_000.0, 6_000.0 * 4.4482216152605 / 0.0254**2 / 1e6),
    ],
)
def test_pressures_are_stored_in_mpa(store: Store, unit: str, sent: float, stored: float) -> None:
    columns: dict[str, Any] = cycle_columns(1)
    columns[f"pressure_peak_{unit}"] = pa.array([sent])
    if unit != "bar":
        del columns["pressure_peak_bar"]
    upload(store, columns)
    ((value,),) = rows_of(store, "SELECT pressure_peak_mpa FROM cycle_rows")
    assert value == pytest.approx(stored, rel=1e-15)


def test_a_band_edge_in_bar_is_exactly_the_edge_in_mpa(store: Store) -> None:
    upload(store, cycle_columns(1, pressure_peak_bar=pa.array([437.0])))
    assert rows_of(store, "SELECT pressure_peak_mpa = 43.7::DOUBLE FROM cycle_rows") == [(True,)]


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
def test_instants_are_stored_in_utc_whatever_zone_and_unit(store: Store, unit: str) -> None:
    # 2026-03-02 06:00:00.123 UTC, written down as 11:30 in Kolkata.
    value = 1_772_431_200_123 * {"ms": 1, "us": 1_000, "ns": 1_000_000}[unit]
    instants = pa.array([value], pa.timestamp(unit, tz="Asia/Kolkata"))
    upload(store, cycle_columns(1, started_at=instants))
    assert rows_of(store, "SELECT started_at::VARCHAR FROM cycle_rows") == [
        ("2026-03-02 06:00:00.123",)
    ]


def test_an_empty_optional_text_is_none() -> None:
    column = ColumnProfile(name="stop_reason", source_name="stop_reason", kind="TEXT", needed=False)
    assert stored_value(column) == "nullif(r.stop_reason, '')"


def test_a_damaged_column_is_named(store: Store) -> None:
    before = fact_counts(store)
    with pytest.raises(UploadRefused) as refused:
        upload(store, BAD_FILES["corrupt page"].make())
    assert "pressure_peak_bar" in refused.value.findings[0].detail
    assert fact_counts(store) == before


def test_a_file_that_needs_too_much_memory_is_told_as_such(store: Store) -> None:
    arrival = arrival_of(store, parquet_bytes(cycle_columns()))

    def hungry(db: Cursor) -> None:
        with reading(db, arrival):
            raise duckdb.OutOfMemoryException("no more")

    with pytest.raises(UploadRefused) as refused:
        store.read_now(hungry)
    assert refused.value.findings[0].code == "EXPANDS_TOO_FAR"


def test_a_fault_of_ours_is_not_told_as_a_fault_of_the_file(store: Store) -> None:
    arrival = arrival_of(store, parquet_bytes(cycle_columns()))

    def wrong(db: Cursor) -> None:
        with reading(db, arrival):
            db.execute("SELECT no_such_column FROM lots")

    with pytest.raises(duckdb.BinderException):
        store.read_now(wrong)


def test_paths_reach_no_caller(store: Store) -> None:
    for name in ("corrupt page", "timestamp beyond every calendar"):
        with pytest.raises(UploadRefused) as refused:
            upload(store, BAD_FILES[name].make())
        assert str(Path(store.data_directory).name) not in str(refused.value.findings)
