"""The tables of the store, made by an ordered list of SQL files that are never edited."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from importlib import resources

import duckdb

_RECORD_TABLE = """
CREATE TABLE IF NOT EXISTS schema_migrations (
    name VARCHAR PRIMARY KEY,
    sha256 VARCHAR NOT NULL,
    applied_at TIMESTAMPTZ NOT NULL
)
"""
_APPLIED = "SELECT name, sha256 FROM schema_migrations ORDER BY name"
_RECORD = "INSERT INTO schema_migrations (name, sha256, applied_at) VALUES (?, ?, now())"


class MigrationError(RuntimeError):
    """The tables on disk do not belong to this version of the program; for the operator."""


def shipped_migrations() -> dict[str, str]:
    """
    SQL text of every migration by its name, in the order in which they are applied.

    Returns
    -------
    dict of str to str
        Name without ``.sql`` to text; the number at its start gives the order.

    Examples
    --------
    >>> next(iter(shipped_migrations()))
    '0001_rows'
    """
    folder = resources.files("service.storage") / "migrations"
    files = sorted((item for item in folder.iterdir()), key=lambda item: item.name)
    return {
        item.name.removesuffix(".sql"): item.read_text(encoding="utf-8")
        for item in files
        if item.name.endswith(".sql")
    }


def migrate(cursor: duckdb.DuckDBPyConnection, migrations: Mapping[str, str]) -> list[str]:
    """
    Bring the tables up to date.

    Each migration runs in one transaction together with its record, so that a
    process killed between two of them goes on where it stopped.

    Parameters
    ----------
    cursor : DuckDBPyConnection
        Outside any transaction.
    migrations : mapping of str to str
        Name to SQL text, in order; see `shipped_migrations`.

    Returns
    -------
    list of str
        Names of those that were applied now.

    Raises
    ------
    MigrationError
        If the store holds a migration that is not among `migrations`, or one
        whose text was changed after it was applied.
    """
    cursor.execute(_RECORD_TABLE)
    applied: dict[str, str] = dict(cursor.execute(_APPLIED).fetchall())
    unknown = sorted(set(applied) - set(migrations))
    if unknown:
        raise MigrationError(
            f"the store was written by a newer version of lotproof (it holds {unknown[0]}); "
            "start that version"
        )
    new = []
    for name, text in migrations.items():
        digest = hashlib.sha256(text.encode()).hexdigest()
        if name not in applied:
            _apply(cursor, name, text, digest)
            new.append(name)
        elif applied[name] != digest:
            raise MigrationError(f"migration {name} is not the one that made this store")
    return new


def _apply(cursor: duckdb.DuckDBPyConnection, name: str, text: str, digest: str) -> None:
    """One migration and its record, both or neither."""
    cursor.execute("BEGIN TRANSACTION")
    try:
        cursor.execute(text)
        cursor.execute(_RECORD, [name, digest])
        cursor.execute("COMMIT")
    except BaseException:
        cursor.execute("ROLLBACK")
        raise
