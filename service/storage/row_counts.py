"""How many rows of a stretch are stored."""

from __future__ import annotations

from collections.abc import Collection

from service.storage.store import Cursor

_ROWS = """
SELECT stretch_key, count(*)
FROM cycle_rows
WHERE stretch_key IN (SELECT unnest($stretch_keys::INTEGER[]))
GROUP BY stretch_key
ORDER BY stretch_key
"""


def rows_of_stretches(db: Cursor, stretch_keys: Collection[int]) -> dict[int, int]:
    """Stored rows by stretch, conflicting ones apart; a stretch without any is left out."""
    if not stretch_keys:
        return {}
    return dict(db.execute(_ROWS, {"stretch_keys": sorted(stretch_keys)}).fetchall())
