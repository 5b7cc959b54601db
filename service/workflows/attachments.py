"""Attachments: bytes taken whole, kept under their digest, given back as they came."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from pathlib import Path

import anyio.to_thread
from msgspec import Struct

from schemas.attachments import Attachment
from service.errors import NotFound
from service.intake.media_types import check_media_type
from service.intake.spool import SpooledFile, spooled
from service.settings import Settings
from service.storage.attachments import (
    add_attachment,
    attachment_path,
    find_attachments,
    keep_attachment,
)
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows.clock import Clock, stamp_of

_DIGEST = re.compile(r"[0-9a-f]{64}")


class KeptFile(Struct, frozen=True, kw_only=True):
    """An attachment and where its bytes lie."""

    attachment: Attachment
    path: Path


class Attachments:
    """What can be done with attachments."""

    def __init__(self, store: Store, settings: Settings, clock: Clock) -> None:
        self._store = store
        self._clock = clock
        self._max_body_bytes = settings.max_body_bytes

    async def take(
        self,
        body: AsyncIterator[bytes],
        actor: Actor,
        *,
        media_type: str,
        content_digest: str | None,
    ) -> tuple[Attachment, bool]:
        """
        Store an attachment; when this returns its bytes and its record are on disk.

        Parameters
        ----------
        body : async iterator of bytes
            The file as it comes in.
        actor : Actor
        media_type : str, keyword only
            One of `schemas.attachments.ATTACHMENT_TYPES`.
        content_digest : str or None, keyword only
            Header ``Content-Digest`` of the request, compared when given.

        Returns
        -------
        tuple of Attachment and bool
            The second value is False for bytes that were stored before; they keep the
            type that they came with first.

        Raises
        ------
        InvalidRequest
            If the body is empty.
        UploadRefused
            If it is too large, changed on the way, or not of its type.
        """
        async with spooled(
            body,
            self._store.spool_folder,
            max_bytes=self._max_body_bytes,
            content_digest=content_digest,
        ) as file:
            await anyio.to_thread.run_sync(check_media_type, file.path, media_type)
            return await self._keep(file, actor, media_type)

    async def find(self, sha256: str) -> KeptFile:
        """
        The attachment with a digest, and its bytes.

        Raises
        ------
        NotFound
            If no such bytes were stored.
        """
        if not _DIGEST.fullmatch(sha256):
            raise NotFound("attachment", sha256)
        found = await self._store.read(lambda db: find_attachments(db, [sha256]))
        if sha256 not in found:
            raise NotFound("attachment", sha256)
        path = attachment_path(self._store.attachments_folder, sha256)
        return KeptFile(attachment=found[sha256], path=path)

    async def _keep(
        self, file: SpooledFile, actor: Actor, media_type: str
    ) -> tuple[Attachment, bool]:
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[Attachment, bool]:
            known = find_attachments(db, [file.sha256])
            if file.sha256 in known:
                return known[file.sha256], False
            # On disk before the fact: bytes without a record are harmless, not so the reverse.
            keep_attachment(self._store.attachments_folder, file.path, file.sha256)
            made = add_attachment(
                db,
                sha256=file.sha256,
                media_type=media_type,
                byte_count=file.byte_count,
                stamp=stamp,
            )
            return made, True

        return await self._store.write(change)
