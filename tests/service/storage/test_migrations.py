"""Tables are made once, in order, each with its record or not at all."""

import duckdb
import pytest

from service.storage.migrations import MigrationError, migrate, shipped_migrations

FIRST = {"0001_a": "CREATE TABLE a (x INTEGER)"}
BOTH = {**FIRST, "0002_b": "CREATE TABLE b (x INTEGER); INSERT INTO b VALUES (1)"}


def tables(db: duckdb.DuckDBPyConnection) -> set[str]:
    return {str(row[0]) for row in db.execute("SELECT table_name FROM duckdb_tables()").fetchall()}


def test_each_migration_is_applied_once_and_in_order() -> None:
    db = duckdb.connect()
    assert migrate(db, FIRST) == ["0001_a"]
    assert migrate(db, BOTH) == ["0002_b"]
    assert migrate(db, BOTH) == []
    assert tables(db) == {"a", "b", "schema_migrations"}


def test_a_migration_that_fails_leaves_no_table_and_no_record() -> None:
    db = duckdb.connect()
    broken = {**FIRST, "0002_b": "CREATE TABLE b (x INTEGER); INSERT INTO missing VALUES (1)"}
    with pytest.raises(duckdb.CatalogException):
        migrate(db, broken)
    assert tables(db) == {"a", "schema_migrations"}
    assert migrate(db, BOTH) == ["0002_b"]


def test_a_store_of_a_newer_version_is_not_touched() -> None:
    db = duckdb.connect()
    migrate(db, BOTH)
    with pytest.raises(MigrationError, match="newer version"):
        migrate(db, FIRST)


def test_a_migration_changed_after_the_fact_is_noticed() -> None:
    db = duckdb.connect()
    migrate(db, FIRST)
    with pytest.raises(MigrationError, match="0001_a"):
        migrate(db, {"0001_a": "CREATE TABLE a (x BIGINT)"})


def test_the_shipped_migrations_are_numbered_without_a_gap() -> None:
    numbers = [int(name.partition("_")[0]) for name in shipped_migrations()]
    assert numbers == list(range(1, len(numbers) + 1))


def test_the_shipped_migrations_run_on_an_empty_database() -> None:
    db = duckdb.connect()
    assert migrate(db, shipped_migrations()) == list(shipped_migrations())
    assert {"lots", "cycle_rows", "conflicting_rows", "taken_lives"} <= tables(db)
