"""Whether the bytes of an attachment are what their media type says."""

from __future__ import annotations

import codecs
from pathlib import Path

from schemas.attachments import ATTACHMENT_TYPES
from schemas.problems import ProblemError
from service.errors import InvalidRequest, UploadRefused

_FIRST_BYTES = {
    "application/pdf": b"%PDF-",
    "image/png": b"\x89PNG\r\n\x1a\n",
    "image/jpeg": b"\xff\xd8\xff",
}
"""How files of each type begin (ISO 32000-1 7.5.2; PNG, third edition, 5.2; ITU-T T.81 B.1.1)."""
_BLOCK_BYTES = 1024 * 1024


def check_media_type(path: Path, media_type: str) -> None:
    """
    Refuse a file that is not what its sender says.

    Parameters
    ----------
    path : Path
        The file, complete.
    media_type : str
        One of `schemas.attachments.ATTACHMENT_TYPES`.

    Raises
    ------
    InvalidRequest
        BODY_MISSING if there is nothing in it.
    UploadRefused
        MEDIA_TYPE if it begins like another kind of file, or if a text is not UTF-8 or holds
        a zero byte.

    Notes
    -----
    A look at the beginning, not a proof: nothing of the service opens these files, and a
    browser is told to keep them as files.
    """
    if path.stat().st_size == 0:
        detail = "The body is empty."
        raise InvalidRequest([ProblemError(code="BODY_MISSING", detail=detail, pointer="")])
    begins = _FIRST_BYTES.get(media_type)
    is_so = _is_text(path) if begins is None else _begins_with(path, begins)
    if not is_so:
        detail = (
            f"The body is no {media_type}. Attachments may be: {', '.join(ATTACHMENT_TYPES)}; "
            "texts in UTF-8."
        )
        raise UploadRefused(
            [ProblemError(code="MEDIA_TYPE", detail=detail)], kind="unsupported-media-type"
        )


def _begins_with(path: Path, begins: bytes) -> bool:
    with path.open("rb") as file:
        return file.read(len(begins)) == begins


def _is_text(path: Path) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as file:
        try:
            while block := file.read(_BLOCK_BYTES):
                if b"\0" in block:
                    return False
                decoder.decode(block)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return False
    return True
