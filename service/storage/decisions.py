"""Recorded verdicts: written once, never edited."""

from __future__ import annotations

from typing import Any

import msgspec

from schemas.decisions import Decision
from service.errors import NotFound
from service.storage.store import Cursor

_ADD = """
INSERT INTO decisions
    (decision_id, lot_key, evaluation_key, body, decided_at, decided_by)
VALUES ($decision_id, $lot_key, $evaluation_key, $body, $at, $by)
"""
_BY_ID = "SELECT entry_no, body FROM decisions WHERE decision_id = $decision_id"
_OF_EVALUATION = """
SELECT entry_no, body FROM decisions
WHERE lot_key = $lot_key AND evaluation_key = $evaluation_key
"""
_ALL = "SELECT entry_no, body FROM decisions ORDER BY entry_no"
_OF_LOT = """
SELECT entry_no, body FROM decisions
WHERE lot_key = $lot_key AND entry_no > $after
ORDER BY entry_no
LIMIT $limit
"""


def add_decision(db: Cursor, lot_key: int, decision: Decision) -> None:
    """Record a verdict; there is none yet on the same evaluation of the lot."""
    values = {
        "decision_id": decision.decision_id,
        "lot_key": lot_key,
        "evaluation_key": decision.evaluation_key,
        "body": msgspec.json.encode(decision).decode(),
        "at": decision.decided_at,
        "by": decision.decided_by,
    }
    db.execute(_ADD, values)


def find_decision(db: Cursor, decision_id: str) -> tuple[int, Decision]:
    """
    One recorded verdict as it was when it was recorded, with its entry number.

    Raises
    ------
    NotFound
        If there is no such decision.
    """
    row = db.execute(_BY_ID, {"decision_id": decision_id}).fetchone()
    if row is None:
        raise NotFound("decision", decision_id)
    return _numbered(row)


def find_decision_on(db: Cursor, lot_key: int, evaluation_key: str) -> tuple[int, Decision] | None:
    """The verdict recorded on one evaluation of a lot, with its number; None if there is none."""
    values = {"lot_key": lot_key, "evaluation_key": evaluation_key}
    row = db.execute(_OF_EVALUATION, values).fetchone()
    return None if row is None else _numbered(row)


def list_decisions(
    db: Cursor, lot_key: int, *, after: int, limit: int
) -> list[tuple[int, Decision]]:
    """Up to `limit` verdicts recorded on a lot, oldest first, with their entry numbers."""
    values = {"lot_key": lot_key, "after": after, "limit": limit}
    rows = db.execute(_OF_LOT, values).fetchall()
    return [_numbered(row) for row in rows]


def every_decision(db: Cursor) -> list[Decision]:
    """Every recorded verdict as it was when it was recorded, oldest first."""
    return [_numbered(row)[1] for row in db.execute(_ALL).fetchall()]


def _numbered(row: tuple[Any, ...]) -> tuple[int, Decision]:
    entry_no, body = row
    return int(entry_no), msgspec.json.decode(body, type=Decision)
