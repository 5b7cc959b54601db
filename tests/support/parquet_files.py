"""Builders of uploaded tables and of files that lie or are encrypted."""

from __future__ import annotations

import base64
import io
import struct
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pyarrow.parquet.encryption as parquet_encryption

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
NEEDED = (
    "rig_id",
    "station_no",
    "lot_number",
    "unit_serial",
    "run_id",
    "cycle_in_run",
    "started_at",
    "pressure_peak_bar",
)
Columns = dict[str, Any]


def cycle_columns(row_count: int = 20, **changes: Any) -> Columns:
    """A run of one unit, needed columns only; `changes` replace or add columns."""
    counter = np.arange(1, row_count + 1, dtype=np.int64)
    columns: Columns = {
        "rig_id": pa.array(["RIG-A"] * row_count),
        "station_no": pa.array([1] * row_count, pa.int32()),
        "lot_number": pa.array(["CC25-0117"] * row_count),
        "unit_serial": pa.array(["CC25-0117-001"] * row_count),
        "run_id": pa.array(["2026-03-02-A"] * row_count),
        "cycle_in_run": pa.array(counter),
        "started_at": pa.array(
            [START + timedelta(seconds=3 * int(number)) for number in counter],
            pa.timestamp("us", tz="UTC"),
        ),
        "pressure_peak_bar": pa.array(437.0 + counter % 5),
    }
    return {**columns, **changes}


def without(columns: Columns, *names: str) -> Columns:
    """The columns but some."""
    return {name: values for name, values in columns.items() if name not in names}


def life_columns(**changes: Any) -> Columns:
    """Three lives of one lot: a failure, a bracket, a run-out."""
    columns: Columns = {
        "lot_number": pa.array(["CC25-0117"] * 3),
        "unit_serial": pa.array(["001", "002", "003"]),
        "ending": pa.array(["FAILED", "FAILED_BETWEEN", "RUN_OUT"]),
        "cycles": pa.array([51_000, None, 100_000], pa.int64()),
        "cycles_low": pa.array([None, 60_000, None], pa.int64()),
        "cycles_high": pa.array([None, 70_000, None], pa.int64()),
        "failure_mode": pa.array(["SEAL_LEAK", None, None], pa.string()),
    }
    return {**columns, **changes}


def parquet_bytes(columns: Columns, **options: Any) -> bytes:
    """A Parquet file of columns as bytes; `options` go to the writer."""
    target = io.BytesIO()
    pq.write_table(pa.table(columns), target, **options)
    return target.getvalue()


def table_bytes(table: pa.Table, **options: Any) -> bytes:
    """A Parquet file of a table as bytes."""
    target = io.BytesIO()
    pq.write_table(table, target, **options)
    return target.getvalue()


def replaced(values: pa.Array, index: int, value: Any) -> pa.Array:
    """The array with one value replaced."""
    cells = values.to_pylist()
    cells[index] = value
    return pa.array(cells, values.type)


class _MemoryKeys(parquet_encryption.KmsClient):  # type: ignore[misc]
    """Wraps keys by writing them down: good enough to make an encrypted file."""

    def wrap_key(self, key_bytes: bytes, master_key_identifier: str) -> str:
        return base64.b64encode(key_bytes).decode()

    def unwrap_key(self, wrapped_key: str, master_key_identifier: str) -> bytes:
        return base64.b64decode(wrapped_key)


def encrypted_bytes(columns: Columns, *, names: list[str], plaintext_footer: bool) -> bytes:
    """A file with encrypted columns, its footer readable or encrypted too."""
    factory = parquet_encryption.CryptoFactory(lambda _: _MemoryKeys())
    properties = factory.file_encryption_properties(
        parquet_encryption.KmsConnectionConfig(),
        parquet_encryption.EncryptionConfiguration(
            footer_key="footer", column_keys={"column": names}, plaintext_footer=plaintext_footer
        ),
    )
    table = pa.table(columns)
    target = io.BytesIO()
    with pq.ParquetWriter(target, table.schema, encryption_properties=properties) as writer:
        writer.write_table(table)
    return target.getvalue()


def footer_of(file: bytes) -> bytes:
    """The footer of a Parquet file, without its length and the magic."""
    length = struct.unpack("<I", file[-8:-4])[0]
    return file[-8 - length : -8]


def with_stated_values(file: bytes, changes: Mapping[bytes, bytes]) -> bytes:
    """The file with bytes of its footer replaced, so that it lies about its values."""
    footer = footer_of(file)
    lying = footer
    for true, false in changes.items():
        assert len(true) == len(false) and true in lying
        lying = lying.replace(true, false)
    return file[: -8 - len(footer)] + lying + file[-8:]
