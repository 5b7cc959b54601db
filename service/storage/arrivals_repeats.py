"""Rows that were received before: the same cycle again, equal or with other values.

Only stretches come here that may hold such rows. Identity of a row is its stretch, counter
and start. A row is a duplicate if an earlier one with its identity has its values; else it
conflicts if there is an earlier one with its identity at all; else it is stored. Earlier is
what is in the store, conflicting rows included, and what stands further up in the file.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct

from schemas.problems import MAX_ROWS_NAMED, ProblemError
from service.errors import UploadRefused
from service.storage.arrivals_file import NUMBERED_ROWS
from service.storage.arrivals_keys import ArrivedStretch, KeyedFile
from service.storage.arrivals_routes import TEXT_KEY_COLUMNS, make_routes
from service.storage.arrivals_rows import (
    IDENTITY_COLUMNS,
    ROW_COLUMNS,
    STORED_INTEGERS,
    STORED_NUMBERS,
    row_expressions,
)
from service.storage.store import Cursor

ROWS_AT_A_TIME = 250_000
"""Rows whose stretches are compared in one go: what temporary tables hold meanwhile."""
MOST_VERSIONS = 100
"""More different values of one cycle in one file are a broken logger, not a correction."""
SAME_WITHIN = 1e-6
"""Relative difference up to which two numbers are one, whatever unit each was sent in."""

_COLUMNS = ", ".join(ROW_COLUMNS)
_MEANING_OF_EMPTY = {"station_mode_key": "$test_mode::INTEGER", "logged_every": "1"}


def _same_number(name: str) -> str:
    """Condition: the numbers of an older row o and a newer row n are one, or both are missing."""
    old, new = f"coalesce(o.{name}, 'NaN')", f"coalesce(n.{name}, 'NaN')"
    return (
        f"CASE WHEN isnan({old}) OR isnan({new}) THEN isnan({old}) AND isnan({new}) "
        f"ELSE abs({old} - {new}) <= {SAME_WITHIN} * greatest(abs({old}), abs({new})) END"
    )


def _same_key(name: str) -> str:
    empty = _MEANING_OF_EMPTY.get(name, "NULL")
    return f"coalesce(o.{name}, {empty}) IS NOT DISTINCT FROM coalesce(n.{name}, {empty})"


_SAME_IDENTITY = " AND ".join(f"o.{name} = n.{name}" for name in IDENTITY_COLUMNS)
_SAME_VALUES = " AND ".join(
    [_same_number(name) for name in STORED_NUMBERS.values()]
    + [_same_key(name) for name in (*TEXT_KEY_COLUMNS.values(), *STORED_INTEGERS)]
)
_TEST_MODE = "SELECT text_key FROM texts WHERE text = 'TEST'"
_EARLIER = f"""
CREATE OR REPLACE TEMP TABLE earlier_rows AS
SELECT {", ".join(f"o.{name}" for name in ROW_COLUMNS)}
FROM (
    SELECT {_COLUMNS} FROM cycle_rows
    WHERE stretch_key IN (SELECT unnest($stretch_keys::INTEGER[]))
    UNION ALL
    SELECT {_COLUMNS} FROM conflicting_rows
    WHERE stretch_key IN (SELECT unnest($stretch_keys::INTEGER[]))
) AS o
SEMI JOIN row_versions AS n ON {_SAME_IDENTITY}
"""
_TOO_MANY_VERSIONS = f"""
SELECT row_numbers FROM (
    SELECT min(row_no, {MAX_ROWS_NAMED}) AS row_numbers, count(*) AS versions
    FROM row_versions
    GROUP BY {", ".join(IDENTITY_COLUMNS)}
)
WHERE versions > $most
LIMIT 1
"""
_JUDGE = f"""
CREATE OR REPLACE TEMP TABLE judged_rows AS
WITH older AS (
    SELECT -1 AS row_no, {_COLUMNS} FROM earlier_rows
    UNION ALL
    SELECT row_no, {_COLUMNS} FROM row_versions
)
SELECT
    n.row_no,
    any_value(n.stretch_key) AS stretch_key,
    any_value(n.copies) AS copies,
    CASE
        WHEN count(o.row_no) = 0 THEN 'STORED'
        WHEN bool_or({_SAME_VALUES}) THEN 'DUPLICATE'
        ELSE 'CONFLICTING'
    END AS outcome
FROM row_versions AS n
LEFT JOIN older AS o ON {_SAME_IDENTITY} AND o.row_no < n.row_no
GROUP BY n.row_no
"""
_KEEP_STORED = f"""
INSERT INTO cycle_rows (upload_key, {_COLUMNS})
SELECT $upload_key, {", ".join(f"n.{name}" for name in ROW_COLUMNS)}
FROM row_versions AS n JOIN judged_rows AS j ON j.row_no = n.row_no
WHERE j.outcome = 'STORED'
ORDER BY n.row_no
"""
_KEEP_CONFLICTING = f"""
INSERT INTO conflicting_rows (upload_key, {_COLUMNS})
SELECT $upload_key, {", ".join(f"n.{name}" for name in ROW_COLUMNS)}
FROM row_versions AS n JOIN judged_rows AS j ON j.row_no = n.row_no
WHERE j.outcome = 'CONFLICTING'
ORDER BY n.row_no
"""
_TALLIES = """
SELECT
    stretch_key,
    count_if(outcome = 'STORED'),
    sum(CASE WHEN outcome = 'DUPLICATE' THEN copies ELSE copies - 1 END),
    count_if(outcome = 'CONFLICTING')
FROM judged_rows
GROUP BY stretch_key
"""


class Tally(Struct, frozen=True):
    """What became of the rows of one stretch in one upload."""

    stored_rows: int
    duplicate_rows: int = 0
    conflicting_rows: int = 0


def store_repeated(
    db: Cursor, keyed: KeyedFile, stretches: Sequence[ArrivedStretch], upload_key: int
) -> Mapping[int, Tally]:
    """
    Store the rows of stretches that may hold rows received before.

    Returns
    -------
    mapping of int to Tally
        By stretch key; the three counts of a tally add up to the stretch's
        rows in the file.

    Raises
    ------
    UploadRefused
        ROWS_CONTRADICT if one cycle has more than `MOST_VERSIONS` different
        values in the file.
    """
    tallies: dict[int, Tally] = {}
    for part in portions(stretches):
        collect_versions(db, keyed, part)
        tallies |= store_versions(db, [stretch.stretch_key for stretch in part], upload_key)
    forget_versions(db)
    return tallies


def store_versions(db: Cursor, stretch_keys: Sequence[int], upload_key: int) -> dict[int, Tally]:
    """
    Store what `collect_versions` collected, each row as what it is.

    Parameters
    ----------
    db : Cursor
    stretch_keys : sequence of int
        All stretches that the collected rows belong to.
    upload_key : int

    Returns
    -------
    dict of int to Tally
        By stretch key.
    """
    mode = db.execute(_TEST_MODE).fetchone()
    _refuse_many_versions(db)
    db.execute(_EARLIER, {"stretch_keys": [*stretch_keys]})
    db.execute(_JUDGE, {"test_mode": mode and mode[0]})
    db.execute(_KEEP_STORED, {"upload_key": upload_key})
    db.execute(_KEEP_CONFLICTING, {"upload_key": upload_key})
    return {
        int(key): Tally(int(stored), int(duplicate), int(conflicting))
        for key, stored, duplicate, conflicting in db.execute(_TALLIES).fetchall()
    }


def forget_versions(db: Cursor) -> None:
    """Drop the temporary tables once the last portion is stored."""
    for table in ("row_versions", "earlier_rows", "judged_rows"):
        db.execute(f"DROP TABLE IF EXISTS temp.{table}")


def collect_versions(db: Cursor, keyed: KeyedFile, stretches: Sequence[ArrivedStretch]) -> None:
    """The rows of some stretches as they would be stored; equal ones once, with their number."""
    routes = make_routes(db, keyed, stretches)
    expressions = row_expressions(keyed, routes)
    wanted = ", ".join(
        f"{sql} AS {name}" for name, sql in zip(ROW_COLUMNS, expressions, strict=True)
    )
    db.execute(
        "CREATE OR REPLACE TEMP TABLE row_versions AS "
        f"SELECT min(row_no) AS row_no, count(*) AS copies, {_COLUMNS} FROM ("
        f"SELECT r.file_row_number AS row_no, {wanted} FROM {NUMBERED_ROWS} AS r {routes.joins}"
        f") GROUP BY {_COLUMNS}",
        {**keyed.file.parameters, **routes.parameters},
    )


def _refuse_many_versions(db: Cursor) -> None:
    row = db.execute(_TOO_MANY_VERSIONS, {"most": MOST_VERSIONS}).fetchone()
    if row is None:
        return
    raise UploadRefused(
        [
            ProblemError(
                code="ROWS_CONTRADICT",
                column="cycle_in_run",
                detail=f"One cycle stands in the table with more than {MOST_VERSIONS} different "
                "values: the counter or the clock of the rig stood still. Number the rows anew.",
                rows=[int(number) + 1 for number in row[0]],
            )
        ]
    )


def portions(stretches: Sequence[ArrivedStretch]) -> Iterator[list[ArrivedStretch]]:
    """Stretches in their order, so many at a time that their rows fit in memory."""
    portion: list[ArrivedStretch] = []
    row_count = 0
    for stretch in stretches:
        if portion and row_count + stretch.row_count > ROWS_AT_A_TIME:
            yield portion
            portion, row_count = [], 0
        portion.append(stretch)
        row_count += stretch.row_count
    if portion:
        yield portion
