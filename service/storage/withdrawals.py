"""Withdrawals of uploads: written once; rows, receipts and originals stay where they are."""

from __future__ import annotations

from collections.abc import Collection
from datetime import UTC, datetime
from typing import Any

import msgspec
from msgspec import Struct

from schemas.corrections import LotEffect, NewWithdrawal, Withdrawal
from schemas.uploads import Upload
from service.errors import Conflict, NotFound
from service.storage.facts import Stamp
from service.storage.identifiers import opaque_id
from service.storage.store import Cursor

_ADD = """
INSERT INTO withdrawals (upload_key, change_id, body, withdrawn_at, withdrawn_by)
VALUES ($upload_key, $change_id, $body, $at, $by)
"""
_OF_UPLOAD = """
SELECT p.upload_id, p.sha256, w.body, w.withdrawn_at, w.withdrawn_by, e.body
FROM withdrawals AS w
JOIN uploads AS p ON p.upload_key = w.upload_key
LEFT JOIN change_effects AS e ON e.change_id = w.change_id
WHERE w.upload_key = $upload_key
"""
_AMONG = """
SELECT upload_key, body, withdrawn_at, withdrawn_by FROM withdrawals
WHERE upload_key IN (SELECT unnest($upload_keys::INTEGER[]))
"""


class UploadWithdrawn(Conflict):
    """The file was uploaded before, and somebody signed that its rows count no more."""

    def __init__(self, upload_id: str, withdrawn: WithdrawnBy) -> None:
        super().__init__(
            "UPLOAD_WITHDRAWN",
            f"This file is upload {upload_id}, which {withdrawn.by} withdrew at "
            f"{withdrawn.at.astimezone(UTC):%Y-%m-%d %H:%M:%SZ}: {withdrawn.signed.reason!r}. Its "
            "rows stay withdrawn. If they are right after all, write the table anew, so that "
            "the file is another one, and upload that.",
        )


class WithdrawnBy(Struct, frozen=True, kw_only=True):
    """Who withdrew an upload, when, and why."""

    signed: NewWithdrawal
    at: datetime
    by: str


def withdrawal_id(upload_id: str) -> str:
    """Id of the change that the withdrawal of an upload makes."""
    return opaque_id("wd", upload_id)


def add_withdrawal(
    db: Cursor, upload_key: int, upload_id: str, body: NewWithdrawal, stamp: Stamp
) -> None:
    """Record the withdrawal of an upload that was not withdrawn before."""
    values = {
        "upload_key": upload_key,
        "change_id": withdrawal_id(upload_id),
        "body": msgspec.json.encode(body).decode(),
        "at": stamp.at,
        "by": stamp.by,
    }
    db.execute(_ADD, values)


def find_withdrawal(db: Cursor, upload_key: int) -> Withdrawal | None:
    """The withdrawal of an upload with its effects; None if it stands."""
    row = db.execute(_OF_UPLOAD, {"upload_key": upload_key}).fetchone()
    return None if row is None else _withdrawal(row)


def read_withdrawal(db: Cursor, upload_key: int, upload_id: str) -> Withdrawal:
    """
    The withdrawal of an upload.

    Raises
    ------
    NotFound
        If it was not withdrawn.
    """
    found = find_withdrawal(db, upload_key)
    if found is None:
        raise NotFound("withdrawal of upload", upload_id)
    return found


def withdrawn_among(db: Cursor, upload_keys: Collection[int]) -> dict[int, WithdrawnBy]:
    """Those of some uploads that were withdrawn, and by whom."""
    if not upload_keys:
        return {}
    rows = db.execute(_AMONG, {"upload_keys": [*upload_keys]}).fetchall()
    return {
        int(key): WithdrawnBy(signed=msgspec.json.decode(body, type=NewWithdrawal), at=at, by=by)
        for key, body, at, by in rows
    }


def refuse_withdrawn(db: Cursor, upload_key: int, receipt: Upload) -> None:
    """
    Refuse bytes that were withdrawn.

    Raises
    ------
    UploadWithdrawn
        With who withdrew them, when and why.
    """
    found = withdrawn_among(db, [upload_key]).get(upload_key)
    if found is not None:
        raise UploadWithdrawn(receipt.upload_id, found)


def _withdrawal(row: tuple[Any, ...]) -> Withdrawal:
    upload_id, sha256, body, at, by, effects = row
    signed = msgspec.json.decode(body, type=NewWithdrawal)
    lots = [] if effects is None else msgspec.json.decode(effects, type=list[LotEffect])
    return Withdrawal(
        upload_id=upload_id,
        sha256=sha256,
        meaning=signed.meaning,
        reason=signed.reason,
        withdrawn_at=at,
        withdrawn_by=by,
        actor_kind="PERSON",
        lots=lots,
    )
