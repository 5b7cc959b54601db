"""Attachments: bytes under their digest in a folder of their own, one row for each."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Any

from schemas.attachments import Attachment
from service.storage.facts import Stamp
from service.storage.identifiers import opaque_id
from service.storage.originals import keep_original, original_path
from service.storage.store import Cursor

_COLUMNS = """
    attachment_id, sha256, media_type, byte_count, stored_at, stored_by
FROM attachments
"""
_ADD = """
INSERT INTO attachments (sha256, attachment_id, media_type, byte_count, stored_at, stored_by)
VALUES ($sha256, $attachment_id, $media_type, $byte_count, $at, $by)
"""
_FIND = f"SELECT {_COLUMNS} WHERE sha256 IN (SELECT unnest($digests::VARCHAR[])) ORDER BY sha256"
_SUFFIX = ""
"""The name on disk says nothing of the type, so that nothing opens it by its ending."""


def keep_attachment(folder: Path, spooled: Path, sha256: str) -> Path:
    """Keep the bytes for good; on return they survive a loss of power. Call it before the fact."""
    return keep_original(folder, spooled, sha256, suffix=_SUFFIX)


def attachment_path(folder: Path, sha256: str) -> Path:
    """Where the bytes with a digest are kept."""
    return original_path(folder, sha256, suffix=_SUFFIX)


def add_attachment(
    db: Cursor, *, sha256: str, media_type: str, byte_count: int, stamp: Stamp
) -> Attachment:
    """Record an attachment whose bytes are kept already and were not recorded before."""
    made = Attachment(
        attachment_id=opaque_id("att", sha256),
        sha256=sha256,
        media_type=media_type,
        byte_count=byte_count,
        stored_at=stamp.at,
        stored_by=stamp.by,
    )
    values = {
        "sha256": made.sha256,
        "attachment_id": made.attachment_id,
        "media_type": made.media_type,
        "byte_count": made.byte_count,
        "at": stamp.at,
        "by": stamp.by,
    }
    db.execute(_ADD, values)
    return made


def find_attachments(db: Cursor, digests: Collection[str]) -> dict[str, Attachment]:
    """Those of the attachments with these digests that are stored, by digest."""
    if not digests:
        return {}
    rows = db.execute(_FIND, {"digests": sorted(set(digests))}).fetchall()
    return {each.sha256: each for each in map(_attachment, rows)}


def _attachment(row: tuple[Any, ...]) -> Attachment:
    return Attachment(**dict(zip(Attachment.__struct_fields__, row, strict=True)))
