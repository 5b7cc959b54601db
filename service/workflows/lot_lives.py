"""The lives of a lot as they stand now, for questions beside its verdict."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any

import msgspec
from msgspec import Struct

from schemas.decisions import Provenance
from schemas.lives import UnitLife
from service.storage.store import Cursor
from service.workflows.evaluate_lot import lives_and_evaluation
from service.workflows.reduce_lot import read_lot

ANSWERS_VERSION = 1
"""Raised when equal lives and an equal question could get another answer than before."""


class LotLives(Struct, frozen=True, kw_only=True):
    """Units of a lot under its current specification, and what that rests on."""

    lot_id: str
    lot_number: str
    lives: list[UnitLife]
    open_hold_count: int
    provenance: Provenance


def read_lot_lives(db: Cursor, lot_id: str) -> LotLives:
    """
    Lives of a lot's units under its current specification.

    Raises
    ------
    NotFound
        If there is no such lot.
    """
    lives, evaluation = lives_and_evaluation(db, read_lot(db, lot_id))
    return LotLives(
        lot_id=lot_id,
        lot_number=evaluation.lot_number,
        lives=lives,
        open_hold_count=evaluation.evidence.open_hold_count,
        provenance=evaluation.provenance,
    )


def answer_key(kind: str, lots: Sequence[LotLives], question: Any) -> str:
    """
    Entity tag of an answer: hash of the lots' facts, the question and the version of answers.

    Parameters
    ----------
    kind : str
        What is answered, so that two kinds of answer never share a key.
    lots : sequence of LotLives
    question : object
        Whatever msgspec can encode.
    """
    keys = [each.provenance.evaluation_key for each in lots]
    software = sorted({each.provenance.software for each in lots})
    ingredients = msgspec.json.encode((ANSWERS_VERSION, kind, keys, software, question))
    return "sha256:" + hashlib.sha256(ingredients).hexdigest()
