"""Rows that declare how many cycles each of them stands for: found once, looked at seldom."""

from __future__ import annotations

import duckdb

_THINNED = """
SELECT DISTINCT stretch_key FROM cycle_rows SEMI JOIN reducing USING (stretch_key)
WHERE logged_every > 1
"""
_KEEP_ROWS = """
CREATE OR REPLACE TEMP TABLE thinned_rows AS
SELECT DISTINCT stretch_key, cycle_in_run, started_at, coalesce(logged_every, 1) AS logged_every
FROM cycle_rows
WHERE stretch_key IN (SELECT unnest($keys::INTEGER[]))
"""


def keep_thinned_rows(db: duckdb.DuckDBPyConnection) -> set[int]:
    """
    Find the stretches in `reducing` whose logging was declared as thinned.

    Parameters
    ----------
    db : duckdb.DuckDBPyConnection
        Cursor on which the table `reducing` names the stretches. Where there are thinned
        ones, the table `thinned_rows` is made for the texts that ask for it.

    Returns
    -------
    set of int
        Their keys. Where no row declares it, a look at one column is all that this costs.
    """
    keys = {row[0] for row in db.execute(_THINNED).fetchall()}
    if keys:
        db.execute(_KEEP_ROWS, {"keys": sorted(keys)})
    return keys
