"""Uploading straight into a store, without HTTP."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from parquet_files import Columns, parquet_bytes

from schemas.profiles import TableLimits
from service.intake.parquet import read_profile
from service.storage.arrivals import Arrived, store_upload
from service.storage.arrivals_file import Arrival
from service.storage.store import Store

LIMITS = TableLimits(max_rows=50_000_000, max_columns=64, max_string_length=200)
RECEIVED = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)
FACT_TABLES = (
    "lots",
    "units",
    "stretch_bases",
    "texts",
    "uploads",
    "upload_stretches",
    "cycle_rows",
    "conflicting_rows",
    "uploaded_lives",
)


def upload(
    store: Store,
    file: bytes | Columns,
    *,
    limits: TableLimits = LIMITS,
    set_pressures: Mapping[str, float] | None = None,
    received_at: datetime | None = None,
) -> Arrived:
    """Check a file and store it, as the service does."""
    body = file if isinstance(file, bytes) else parquet_bytes(file)
    path = store.spool_folder / f"{secrets.token_hex(8)}.parquet"
    path.write_bytes(body)
    try:
        arrival = Arrival(
            path=path,
            profile=read_profile(path, limits),
            sha256=hashlib.sha256(body).hexdigest(),
            byte_count=len(body),
            received_at=received_at or RECEIVED,
            received_from="rig-gateway",
            max_string_length=limits.max_string_length,
        )
        return store.write_now(
            lambda db: store_upload(
                db,
                arrival,
                originals_folder=store.originals_folder,
                spec_set_pressures=set_pressures or {},
            )
        )
    finally:
        path.unlink()


def fact_counts(store: Store) -> dict[str, int]:
    """Rows of every table that uploads write to."""
    return {
        table: int(rows_of(store, f"SELECT count(*) FROM {table}")[0][0]) for table in FACT_TABLES
    }


def rows_of(store: Store, sql: str) -> list[tuple[Any, ...]]:
    """Answer of a query on the store."""
    return store.read_now(lambda db: db.execute(sql).fetchall())
