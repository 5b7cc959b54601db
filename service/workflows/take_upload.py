"""Taking an upload: spooled, checked, stored whole or not at all; and reading receipts."""

from __future__ import annotations

from collections.abc import AsyncIterator
from functools import partial

import anyio.to_thread

from schemas.profiles import TableLimits
from schemas.uploads import Upload, UploadFindings
from service.intake.parquet import read_profile
from service.intake.spool import SpooledFile, spooled
from service.settings import Settings
from service.storage import lots, uploads
from service.storage.arrivals import Arrived, store_upload
from service.storage.arrivals_file import Arrival
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows.clock import Clock
from service.workflows.keep_current import keep_current
from service.workflows.upload_findings import account_for


class Uploads:
    """What can be done with uploads."""

    def __init__(self, store: Store, settings: Settings, clock: Clock) -> None:
        self._store = store
        self._clock = clock
        self._max_body_bytes = settings.max_body_bytes
        self._limits = TableLimits(
            max_rows=settings.max_upload_rows,
            max_columns=settings.max_upload_columns,
            max_string_length=settings.max_string_length,
        )

    async def take(
        self, body: AsyncIterator[bytes], actor: Actor, *, content_digest: str | None
    ) -> tuple[Upload, bool]:
        """
        Store an uploaded table.

        When this returns the rows, the original and the receipt are on disk, and
        lives and verdicts of its lots have been brought up to date.

        Parameters
        ----------
        body : async iterator of bytes
            The file as it comes in.
        actor : Actor
        content_digest : str or None, keyword only
            Header ``Content-Digest`` of the request, compared when given.

        Returns
        -------
        tuple of Upload and bool
            The second value is False for bytes that were uploaded before.

        Raises
        ------
        UploadRefused
            With every fault that was found; nothing of the file is stored.
        StorageBusy
            If another upload is being written for too long.
        """
        spool = self._store.spool_folder
        async with spooled(
            body, spool, max_bytes=self._max_body_bytes, content_digest=content_digest
        ) as file:
            arrived = await self._store_file(file, actor)
        await keep_current(self._store, arrived.lot_keys)
        return arrived.receipt, arrived.is_new

    async def all(self, *, after: int, limit: int) -> list[tuple[int, Upload]]:
        """Receipts in the order of arrival, with their place in it."""
        return await self._store.read(lambda db: uploads.list_uploads(db, after=after, limit=limit))

    async def of_lot(self, lot_id: str, *, after: int, limit: int) -> list[tuple[int, Upload]]:
        """
        Receipts of the uploads that brought rows or lives of a lot, with their place.

        Raises
        ------
        NotFound
            If there is no such lot.
        """

        def question(db: Cursor) -> list[tuple[int, Upload]]:
            lot_key = lots.lot_key_of(db, lot_id)
            return uploads.list_uploads(db, after=after, limit=limit, lot_key=lot_key)

        return await self._store.read(question)

    async def find(self, upload_id: str) -> Upload:
        """
        Receipt of an upload.

        Raises
        ------
        NotFound
            If there is no such upload.
        """
        _, receipt = await self._store.read(lambda db: uploads.find_upload(db, upload_id))
        return receipt

    async def findings(self, upload_id: str) -> UploadFindings:
        """
        Every row of an upload accounted for, under its lots' current specifications.

        Raises
        ------
        NotFound
            If there is no such upload.
        """

        def question(db: Cursor) -> UploadFindings:
            _, receipt = uploads.find_upload(db, upload_id)
            return account_for(db, receipt)

        return await self._store.read(question)

    async def _store_file(self, file: SpooledFile, actor: Actor) -> Arrived:
        profile = await anyio.to_thread.run_sync(read_profile, file.path, self._limits)
        arrival = Arrival(
            path=file.path,
            profile=profile,
            sha256=file.sha256,
            byte_count=file.byte_count,
            received_at=self._clock(),
            received_from=actor.name,
            max_string_length=self._limits.max_string_length,
        )
        return await self._store.write(partial(self._store_arrival, arrival=arrival))

    def _store_arrival(self, db: Cursor, arrival: Arrival) -> Arrived:
        return store_upload(
            db,
            arrival,
            originals_folder=self._store.originals_folder,
            spec_set_pressures=lots.set_pressures(db),
        )
