"""Samples drawn from lots, and spares put in the place of void units: written once."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
from msgspec import structs

from schemas.sample_draws import NewDraw, NewSubstitution, SampleDraw, Substitution
from service.storage.facts import Stamp
from service.storage.store import Cursor

_ADD = """
INSERT INTO sample_draws (lot_key, draw_key, request, body, recorded_at, recorded_by)
VALUES ($lot_key, $draw_key, $request, $body, $at, $by)
"""
_OF_LOT = """
SELECT entry_no, body FROM sample_draws
WHERE lot_key = $lot_key AND entry_no > $after
ORDER BY entry_no
LIMIT $limit
"""
_REQUEST = """
SELECT request, recorded_by FROM sample_draws WHERE lot_key = $lot_key AND draw_key = $draw_key
"""
_SUBSTITUTE = """
INSERT INTO sample_substitutions
    (lot_key, draw_key, void_serial, spare_serial, body, recorded_at, recorded_by)
VALUES ($lot_key, $draw_key, $void_serial, $spare_serial, $body, $at, $by)
"""
_SUBSTITUTIONS = """
SELECT draw_key, spare_serial, body, recorded_at, recorded_by FROM sample_substitutions
WHERE lot_key = $lot_key
ORDER BY entry_no
"""
_LISTED = """
SELECT u.unit_serial FROM sample_units AS s
JOIN units AS u ON u.unit_key = s.unit_key
WHERE u.lot_key = $lot_key AND u.unit_serial IN (SELECT unnest($serials::VARCHAR[]))
ORDER BY u.unit_serial
"""
_LISTED_COUNT = """
SELECT count(*) FROM sample_units AS s
JOIN units AS u ON u.unit_key = s.unit_key
WHERE u.lot_key = $lot_key
"""
_MOST_DRAWS = 10_000


def add_draw(db: Cursor, lot_key: int, request: NewDraw, draw: SampleDraw, stamp: Stamp) -> None:
    """Record a draw; its key is new to the lot."""
    values = {
        "lot_key": lot_key,
        "draw_key": draw.draw_key,
        "request": msgspec.json.encode(request).decode(),
        "body": msgspec.json.encode(draw).decode(),
        "at": stamp.at,
        "by": stamp.by,
    }
    db.execute(_ADD, values)


def find_request(db: Cursor, lot_key: int, draw_key: str) -> tuple[NewDraw, str] | None:
    """What was asked of a draw, population included, and by whom; None if the key is new."""
    row = db.execute(_REQUEST, {"lot_key": lot_key, "draw_key": draw_key}).fetchone()
    return None if row is None else (msgspec.json.decode(row[0], type=NewDraw), str(row[1]))


def list_draws(db: Cursor, lot_key: int, *, after: int, limit: int) -> list[tuple[int, SampleDraw]]:
    """Up to `limit` draws of a lot with their substitutions, oldest first."""
    values = {"lot_key": lot_key, "after": after, "limit": limit}
    rows = db.execute(_OF_LOT, values).fetchall()
    if not rows:
        return []
    by_draw = _substitutions(db, lot_key)
    draws = [(int(row[0]), msgspec.json.decode(row[1], type=SampleDraw)) for row in rows]
    return [
        (place, structs.replace(draw, substitutions=by_draw.get(draw.draw_key, [])))
        for place, draw in draws
    ]


def draws_of_lot(db: Cursor, lot_key: int) -> list[SampleDraw]:
    """All draws of a lot, oldest first."""
    return [draw for _, draw in list_draws(db, lot_key, after=0, limit=_MOST_DRAWS)]


def add_substitution(
    db: Cursor, draw: tuple[int, str], body: NewSubstitution, spare_serial: str, stamp: Stamp
) -> None:
    """Record that a spare of a draw (its lot and key) takes the place of a void unit."""
    values = {
        "lot_key": draw[0],
        "draw_key": draw[1],
        "void_serial": body.void_serial,
        "spare_serial": spare_serial,
        "body": msgspec.json.encode(body).decode(),
        "at": stamp.at,
        "by": stamp.by,
    }
    db.execute(_SUBSTITUTE, values)


def listed_among(db: Cursor, lot_key: int, serials: Sequence[str]) -> list[str]:
    """Those of some serials that the lot's sample lists already."""
    rows = db.execute(_LISTED, {"lot_key": lot_key, "serials": [*serials]}).fetchall()
    return [str(row[0]) for row in rows]


def listed_count(db: Cursor, lot_key: int) -> int:
    """How many units the lot's sample lists."""
    row = db.execute(_LISTED_COUNT, {"lot_key": lot_key}).fetchone()
    assert row is not None  # an aggregate without groups always gives a row
    return int(row[0])


def _substitutions(db: Cursor, lot_key: int) -> dict[str, list[Substitution]]:
    found: dict[str, list[Substitution]] = {}
    for draw_key, spare, body, at, by in db.execute(
        _SUBSTITUTIONS, {"lot_key": lot_key}
    ).fetchall():
        said = msgspec.json.decode(body, type=NewSubstitution)
        substitution = Substitution(
            void_serial=said.void_serial,
            spare_serial=spare,
            reason=said.reason,
            recorded_at=at,
            recorded_by=by,
        )
        found.setdefault(draw_key, []).append(substitution)
    return found
