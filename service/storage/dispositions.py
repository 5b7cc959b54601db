"""Signed answers to holds: written once, never edited; the newest of a hold counts."""

from __future__ import annotations

import msgspec

from schemas.dispositions import Disposition
from schemas.holds import HoldAnswer
from service.storage.store import Cursor

_ADD = """
INSERT INTO dispositions (disposition_id, hold_id, lot_key, body, signed_at, signed_by)
VALUES ($disposition_id, $hold_id, $lot_key, $body, $at, $by)
"""
_OF_HOLD = """
SELECT entry_no, body FROM dispositions
WHERE hold_id = $hold_id AND entry_no > $after
ORDER BY entry_no
LIMIT $limit
"""
_NEWEST = """
SELECT body FROM dispositions
WHERE hold_id = $hold_id
ORDER BY entry_no DESC
LIMIT 1
"""
_ANSWERS = """
SELECT hold_id, body FROM dispositions
WHERE lot_key = $lot_key
QUALIFY row_number() OVER (PARTITION BY hold_id ORDER BY entry_no DESC) = 1
ORDER BY hold_id
"""


def add_disposition(db: Cursor, lot_key: int, disposition: Disposition) -> None:
    """Record a signed answer; earlier ones to the same hold stay in the record."""
    values = {
        "disposition_id": disposition.disposition_id,
        "hold_id": disposition.hold_id,
        "lot_key": lot_key,
        "body": msgspec.json.encode(disposition).decode(),
        "at": disposition.signed_at,
        "by": disposition.signed_by,
    }
    db.execute(_ADD, values)


def newest_disposition(db: Cursor, hold_id: str) -> Disposition | None:
    """The last answer that was signed to a hold, as it was signed; None if there is none."""
    row = db.execute(_NEWEST, {"hold_id": hold_id}).fetchone()
    return None if row is None else msgspec.json.decode(row[0], type=Disposition)


def list_dispositions(
    db: Cursor, hold_id: str, *, after: int, limit: int
) -> list[tuple[int, Disposition]]:
    """Up to `limit` answers that were signed to a hold, oldest first, with entry numbers."""
    values = {"hold_id": hold_id, "after": after, "limit": limit}
    rows = db.execute(_OF_HOLD, values).fetchall()
    return [(int(row[0]), msgspec.json.decode(row[1], type=Disposition)) for row in rows]


def answers_of_lot(db: Cursor, lot_key: int) -> dict[str, HoldAnswer]:
    """The newest answer to each hold of a lot's units that was ever decided, by hold."""
    rows = db.execute(_ANSWERS, {"lot_key": lot_key}).fetchall()
    return {row[0]: answer_of(msgspec.json.decode(row[1], type=Disposition)) for row in rows}


def answer_of(disposition: Disposition) -> HoldAnswer:
    """What a disposition says to the life of its unit."""
    return HoldAnswer(
        choice=disposition.choice,
        meaning=disposition.meaning,
        reason=disposition.reason,
        signed_at=disposition.signed_at,
        signed_by=disposition.signed_by,
    )
