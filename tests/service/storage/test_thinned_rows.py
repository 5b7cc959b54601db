"""Which stretches declare thinned logging, and what is kept of them."""

from __future__ import annotations

from collections.abc import Iterator

import duckdb
import pytest

from service.storage.thinned_rows import keep_thinned_rows


@pytest.fixture
def db() -> Iterator[duckdb.DuckDBPyConnection]:
    with duckdb.connect() as connection:
        connection.execute(
            "CREATE TABLE cycle_rows AS SELECT * FROM (VALUES "
            "(1, 1, TIMESTAMP '2026-03-02 06:00:00', NULL::INTEGER), "
            "(2, 1, TIMESTAMP '2026-03-02 06:00:00', 1), "
            "(3, 1, TIMESTAMP '2026-03-02 06:00:00', 1), "
            "(3, 11, TIMESTAMP '2026-03-02 06:00:25', 10), "
            "(4, 11, TIMESTAMP '2026-03-02 06:00:25', 10)) "
            "AS rows(stretch_key, cycle_in_run, started_at, logged_every)"
        )
        yield connection


def chosen(db: duckdb.DuckDBPyConnection, *keys: int) -> set[int]:
    db.execute(
        "CREATE OR REPLACE TEMP TABLE reducing AS SELECT unnest($keys::INTEGER[]) AS stretch_key",
        {"keys": keys},
    )
    return keep_thinned_rows(db)


def test_a_stretch_with_one_row_that_declares_it_is_thinned(db: duckdb.DuckDBPyConnection) -> None:
    assert chosen(db, 1, 2, 3) == {3}
    kept = db.execute("SELECT stretch_key, cycle_in_run, logged_every FROM thinned_rows").fetchall()
    assert sorted(kept) == [(3, 1, 1), (3, 11, 10)]


def test_where_nobody_declares_it_nothing_is_kept(db: duckdb.DuckDBPyConnection) -> None:
    assert chosen(db, 1, 2) == set()
    with pytest.raises(duckdb.CatalogException):
        db.execute("SELECT * FROM thinned_rows")
