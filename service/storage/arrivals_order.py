"""A counter of zero: taken only where it follows the largest number that a counter can hold."""

from __future__ import annotations

from schemas.problems import MAX_ROWS_NAMED, ProblemError
from service.errors import UploadRefused
from service.storage.arrivals_file import NUMBERED_ROWS
from service.storage.arrivals_keys import KeyedFile
from service.storage.arrivals_routes import make_routes
from service.storage.store import Cursor

LAST_BEFORE_WRAP = (65_535, 4_294_967_295)
"""Largest counts of 16 and 32 bits."""

# Where clocks tick slower than cycles, equal instants are put in the order of a wrap: the high
# counts, then zero and what follows it.
_WRONG_ZEROS = """
WITH rows_seen AS (
    SELECT
        s.stretch_key,
        {counter} AS cycle_in_run,
        {instant} AS started_at,
        r.file_row_number AS row_no
    FROM {rows} AS r {joins}
    UNION ALL
    SELECT stretch_key, cycle_in_run, started_at, NULL
    FROM cycle_rows
    WHERE stretch_key IN (SELECT unnest($stretch_keys::INTEGER[]))
),
cycles AS (
    SELECT stretch_key, cycle_in_run, started_at, min(row_no) AS row_no
    FROM rows_seen
    GROUP BY ALL
),
in_order AS (
    SELECT
        cycle_in_run,
        row_no,
        lag(cycle_in_run) OVER (
            PARTITION BY stretch_key
            ORDER BY started_at, cycle_in_run < 32768, cycle_in_run
        ) AS cycle_before
    FROM cycles
)
SELECT count(*), min(row_no, {most_rows})
FROM in_order
WHERE cycle_in_run = 0
    AND row_no IS NOT NULL
    AND coalesce(cycle_before, 0) NOT IN {wraps}
"""


def check_zeros(db: Cursor, keyed: KeyedFile) -> None:
    """
    Refuse zeros of the counter that are no wrap.

    Parameters
    ----------
    db : Cursor
    keyed : KeyedFile

    Raises
    ------
    UploadRefused
        COUNTER_OUT_OF_RANGE. The cycle before may be in the file or stored.
    """
    with_zeros = [stretch for stretch in keyed.stretches if stretch.zero_count]
    if not with_zeros:
        return
    file, routes = keyed.file, make_routes(db, keyed, with_zeros)
    sql = _WRONG_ZEROS.format(
        counter=file.stored("cycle_in_run"),
        instant=file.stored("started_at"),
        rows=NUMBERED_ROWS,
        joins=routes.joins,
        most_rows=MAX_ROWS_NAMED,
        wraps=LAST_BEFORE_WRAP,
    )
    keys = [stretch.stretch_key for stretch in with_zeros]
    row = db.execute(sql, {**file.parameters, "stretch_keys": keys}).fetchone()
    assert row is not None  # an aggregate without groups always gives a row
    if row[0] == 0:
        return
    raise UploadRefused(
        [
            ProblemError(
                code="COUNTER_OUT_OF_RANGE",
                column=file.columns["cycle_in_run"].source_name,
                detail="cycle_in_run counts from 1; 0 is taken only for the cycle just after "
                f"{LAST_BEFORE_WRAP[0]} or {LAST_BEFORE_WRAP[1]} of the same run and station. "
                "Number the cycles from 1, or send the rows before them first.",
                rows=[int(number) + 1 for number in row[1]],
                row_count=int(row[0]),
            )
        ]
    )
