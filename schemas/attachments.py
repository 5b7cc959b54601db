"""Attachments: files that records name by the digest of their bytes."""

from datetime import datetime
from typing import Annotated

from msgspec import Meta, Struct

Sha256 = Annotated[
    str,
    Meta(pattern=r"^[0-9a-f]{64}\Z", description="SHA-256 of the bytes, 64 hexadecimal digits."),
]

ATTACHMENT_TYPES: dict[str, str] = {
    "application/pdf": "pdf",
    "image/png": "png",
    "image/jpeg": "jpg",
    "text/plain": "txt",
    "text/csv": "csv",
}
"""Media types that an attachment may have, each with the ending of the name it is given."""


class Attachment(Struct, frozen=True, kw_only=True):
    """A stored file. The same bytes are stored once, under the type that they came with first."""

    attachment_id: str
    sha256: str
    media_type: str
    byte_count: int
    stored_at: datetime
    stored_by: str
