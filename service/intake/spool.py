"""From the body of a request to a file in the spool, hashed on the way."""

from __future__ import annotations

import base64
import binascii
import contextlib
import hashlib
import os
import re
import secrets
from collections.abc import AsyncIterator
from pathlib import Path
from typing import BinaryIO

import anyio.to_thread
from msgspec import Struct

from schemas.problems import ProblemError
from service.errors import UploadRefused

SPOOLED_SUFFIX = ".parquet"
_BUFFER_BYTES = 1024 * 1024
_DIGEST_HEADER = "Content-Digest"
# One member of the header: a name, then a byte sequence between colons (RFC 9530, RFC 8941).
_DIGEST = re.compile(r"\s*([a-z][a-z0-9_.*-]*)=:([A-Za-z0-9+/=]*):\s*")
_SHA256_BYTES = 32


class SpooledFile(Struct, frozen=True, kw_only=True):
    """A body that arrived whole: where it lies, its SHA-256 in hexadecimal, its size."""

    path: Path
    sha256: str
    byte_count: int


def sweep_spool(folder: Path) -> int:
    """
    Delete what a killed process left in the spool; only at start, before any upload.

    Returns
    -------
    int
        Files deleted.
    """
    left = [path for path in folder.iterdir() if path.is_file() or path.is_symlink()]
    for path in left:
        path.unlink(missing_ok=True)
    return len(left)


def expected_sha256(content_digest: str | None) -> bytes | None:
    """
    SHA-256 that the sender says the body has.

    Parameters
    ----------
    content_digest : str or None
        Value of the header ``Content-Digest`` (RFC 9530), None if there is
        none. Digests by other algorithms beside sha-256 are passed over.

    Returns
    -------
    bytes or None
        32 bytes; None if the sender says nothing.

    Raises
    ------
    UploadRefused
        If the header is there and no SHA-256 can be read from it: a digest
        that is not compared would promise a check that never happened.

    Examples
    --------
    >>> expected_sha256("sha-256=:" + "A" * 43 + "=:") == bytes(32)
    True
    """
    if content_digest is None:
        return None
    digests: dict[str, str] = {}
    for member in content_digest.split(","):
        match = _DIGEST.fullmatch(member)
        if match is None:
            raise _digest_refusal(f"The header {_DIGEST_HEADER} cannot be read.")
        digests[match[1]] = match[2]
    if "sha-256" not in digests:
        raise _digest_refusal(f"The header {_DIGEST_HEADER} names no sha-256.")
    try:
        digest = base64.b64decode(digests["sha-256"], validate=True)
    except binascii.Error:
        raise _digest_refusal(f"The header {_DIGEST_HEADER} cannot be read.") from None
    if len(digest) != _SHA256_BYTES:
        raise _digest_refusal(f"The sha-256 of {_DIGEST_HEADER} is not 32 bytes long.")
    return digest


@contextlib.asynccontextmanager
async def spooled(
    body: AsyncIterator[bytes], folder: Path, *, max_bytes: int, content_digest: str | None
) -> AsyncIterator[SpooledFile]:
    """
    Keep a body in the spool while the block runs; afterwards its name there is gone.

    Parameters
    ----------
    body : async iterator of bytes
        The request's body as it comes in, in pieces of any size.
    folder : Path
        The spool.
    max_bytes : int, keyword only
        Largest body that is taken, in bytes.
    content_digest : str or None, keyword only
        Value of the header ``Content-Digest``; see `expected_sha256`.

    Yields
    ------
    SpooledFile

    Raises
    ------
    UploadRefused
        BODY_TOO_LARGE as soon as more than `max_bytes` came in, or
        DIGEST_MISMATCH.
    """
    expected = expected_sha256(content_digest)
    # Our own name: a sender's would be a way to reach other files.
    path = folder / f"{secrets.token_hex(16)}{SPOOLED_SUFFIX}"
    try:
        with await anyio.to_thread.run_sync(_create, path) as file:
            digest, byte_count = await _write_body(body, file, max_bytes)
        if expected is not None and digest != expected:
            raise _digest_refusal(
                f"The body's SHA-256 is not the one in {_DIGEST_HEADER}: it changed on the way, "
                "or the digest is of another file."
            )
        yield SpooledFile(path=path, sha256=digest.hex(), byte_count=byte_count)
    finally:
        path.unlink(missing_ok=True)


async def _write_body(
    body: AsyncIterator[bytes], file: BinaryIO, max_bytes: int
) -> tuple[bytes, int]:
    """SHA-256 and size of what was written; hashing and writing keep off the event loop."""
    digest = hashlib.sha256()
    pieces: list[bytes] = []
    waiting = byte_count = 0

    def write() -> None:
        for piece in pieces:
            digest.update(piece)
            file.write(piece)

    async for piece in body:
        pieces.append(piece)
        waiting += len(piece)
        byte_count += len(piece)
        if byte_count > max_bytes:
            raise UploadRefused(
                [
                    ProblemError(
                        code="BODY_TOO_LARGE",
                        detail=f"The body is larger than {max_bytes} bytes; send it in several "
                        "uploads, their order does not matter.",
                    )
                ],
                kind="too-large",
            )
        if waiting >= _BUFFER_BYTES:
            await anyio.to_thread.run_sync(write)
            pieces.clear()
            waiting = 0
    await anyio.to_thread.run_sync(write)
    return digest.digest(), byte_count


def _create(path: Path) -> BinaryIO:
    """New file that only this service's account can read."""
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb")


def _digest_refusal(what: str) -> UploadRefused:
    return UploadRefused(
        [
            ProblemError(
                code="DIGEST_MISMATCH",
                detail=f"{what} Send {_DIGEST_HEADER}: sha-256=:<base64 of the SHA-256>: "
                "of exactly these bytes, or leave the header out.",
                parameter=_DIGEST_HEADER,
            )
        ]
    )
