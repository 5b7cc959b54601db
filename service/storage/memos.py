"""Derived answers, kept under the hash of their inputs. Losing them costs time, never truth."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from service.storage.store import Cursor

_SUMMARIES = """
SELECT stretch_key, body
FROM stretch_summaries
WHERE rules_key = $rules_key AND stretch_key IN (SELECT unnest($stretch_keys::INTEGER[]))
    AND (stretch_key, rows_key) IN (
        SELECT (unnest($stretch_keys::INTEGER[]), unnest($rows_keys::VARCHAR[])))
"""
_KEEP_SUMMARIES = """
INSERT INTO stretch_summaries (stretch_key, rows_key, rules_key, body)
SELECT unnest($stretch_keys::INTEGER[]), unnest($rows_keys::VARCHAR[]), $rules_key,
    unnest($bodies::VARCHAR[])
ON CONFLICT DO UPDATE SET body = excluded.body
"""
_FORGET_OLD_SUMMARIES = """
DELETE FROM stretch_summaries
WHERE rules_key = $rules_key AND stretch_key IN (SELECT unnest($stretch_keys::INTEGER[]))
    AND rows_key NOT IN (SELECT unnest($rows_keys::VARCHAR[]))
"""
_BLOCKS, _KEEP_BLOCKS, _FORGET_OLD_BLOCKS = (
    statement.replace("stretch_summaries", "stretch_blocks")
    for statement in (_SUMMARIES, _KEEP_SUMMARIES, _FORGET_OLD_SUMMARIES)
)
_LIVES = "SELECT body FROM lot_lives WHERE lot_key = $lot_key AND lives_key = $lives_key"
_KEEP_LIVES = """
INSERT INTO lot_lives (lot_key, lives_key, body) VALUES ($lot_key, $lives_key, $body)
ON CONFLICT DO UPDATE SET body = excluded.body
"""
_FORGET_OLD_LIVES = "DELETE FROM lot_lives WHERE lot_key = $lot_key AND lives_key <> $lives_key"
_EVALUATION = """
SELECT body FROM lot_evaluations
WHERE lot_key = $lot_key AND evaluation_key = $evaluation_key
"""
_KEEP_EVALUATION = """
INSERT INTO lot_evaluations (lot_key, evaluation_key, body)
VALUES ($lot_key, $evaluation_key, $body)
ON CONFLICT DO UPDATE SET body = excluded.body
"""
_FORGET_OLD_EVALUATIONS = """
DELETE FROM lot_evaluations WHERE lot_key = $lot_key AND evaluation_key <> $evaluation_key
"""
_FORGET = {
    "stretch_summaries": "DELETE FROM stretch_summaries",
    "stretch_blocks": "DELETE FROM stretch_blocks",
    "lot_lives": "DELETE FROM lot_lives",
    "lot_evaluations": "DELETE FROM lot_evaluations",
}


def find_summaries(db: Cursor, rules_key: str, rows_keys: Mapping[int, str]) -> dict[int, str]:
    """Kept summaries by stretch, of those whose rows and rules are as given."""
    return _find(db, _SUMMARIES, rules_key, rows_keys)


def find_blocks(db: Cursor, rules_key: str, rows_keys: Mapping[int, str]) -> dict[int, str]:
    """Kept blocks by stretch, of those whose rows and rules are as given."""
    return _find(db, _BLOCKS, rules_key, rows_keys)


def _find(
    db: Cursor, statement: str, rules_key: str, rows_keys: Mapping[int, str]
) -> dict[int, str]:
    values = {
        "rules_key": rules_key,
        "stretch_keys": list(rows_keys),
        "rows_keys": list(rows_keys.values()),
    }
    return dict(db.execute(statement, values).fetchall())


def keep_summaries(
    db: Cursor, rules_key: str, rows_keys: Mapping[int, str], bodies: Mapping[int, str]
) -> None:
    """Keep summaries; those of fewer rows of the same stretches are dropped."""
    _keep(db, (_FORGET_OLD_SUMMARIES, _KEEP_SUMMARIES), rules_key, rows_keys, bodies)


def keep_blocks(
    db: Cursor, rules_key: str, rows_keys: Mapping[int, str], bodies: Mapping[int, str]
) -> None:
    """Keep blocks; those of fewer rows of the same stretches are dropped."""
    _keep(db, (_FORGET_OLD_BLOCKS, _KEEP_BLOCKS), rules_key, rows_keys, bodies)


def _keep(
    db: Cursor,
    statements: tuple[str, str],
    rules_key: str,
    rows_keys: Mapping[int, str],
    bodies: Mapping[int, str],
) -> None:
    if not bodies:
        return
    stretch_keys = list(bodies)
    values = {
        "rules_key": rules_key,
        "stretch_keys": stretch_keys,
        "rows_keys": [rows_keys[key] for key in stretch_keys],
    }
    forget_old, keep = statements
    db.execute(forget_old, values)
    db.execute(keep, values | {"bodies": list(bodies.values())})


def find_lives(db: Cursor, lot_key: int, lives_key: str) -> str | None:
    """Kept lives of a lot, as JSON, or None."""
    row = db.execute(_LIVES, {"lot_key": lot_key, "lives_key": lives_key}).fetchone()
    return None if row is None else str(row[0])


def keep_lives(db: Cursor, lot_key: int, lives_key: str, body: str) -> None:
    """Keep the lives of a lot in place of older ones."""
    db.execute(_FORGET_OLD_LIVES, {"lot_key": lot_key, "lives_key": lives_key})
    db.execute(_KEEP_LIVES, {"lot_key": lot_key, "lives_key": lives_key, "body": body})


def find_evaluation(db: Cursor, lot_key: int, evaluation_key: str) -> str | None:
    """Kept evaluation of a lot, as JSON, or None."""
    values = {"lot_key": lot_key, "evaluation_key": evaluation_key}
    row = db.execute(_EVALUATION, values).fetchone()
    return None if row is None else str(row[0])


def keep_evaluation(db: Cursor, lot_key: int, evaluation_key: str, body: str) -> None:
    """Keep the evaluation of a lot in place of older ones."""
    values = {"lot_key": lot_key, "evaluation_key": evaluation_key}
    db.execute(_FORGET_OLD_EVALUATIONS, values)
    db.execute(_KEEP_EVALUATION, values | {"body": body})


def forget_all(db: Cursor, tables: Collection[str] = tuple(_FORGET)) -> None:
    """Delete every kept answer, or those of the tables named."""
    for table in tables:
        db.execute(_FORGET[table])
