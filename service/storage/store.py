"""The one open database of this process: one writer, any number of readers."""

from __future__ import annotations

import contextlib
import os
import shutil
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TypeVar

import anyio
import anyio.to_thread
import duckdb

from service.errors import DataDirectoryInUse, StorageBusy
from service.storage.audit_chain import AuditChain
from service.storage.migrations import migrate, shipped_migrations
from service.storage.recall import Memory, reading

Cursor = duckdb.DuckDBPyConnection
Answer = TypeVar("Answer")

DATABASE_FILE = "lotproof.duckdb"
SPOOL_FOLDER = "spool"
ORIGINALS_FOLDER = "originals"
ATTACHMENTS_FOLDER = "attachments"
READER_COUNT = 16
"""Most reads at a time; more wait, so that uploads cannot be starved of threads."""
WRITER_WAIT_S = 120.0
"""How long a write waits for the one before it until the caller is told to come back."""
STORAGE_VERSION = "v1.0.0"
"""Format of the file. The oldest one that is still written, so that a store can be opened by
the release of the database that the shared-storage extension needs."""


class Store:
    """
    The data directory's database with its fence and its one writer.

    A call gets a cursor of its own and runs in a worker thread; what the
    function given to `read` or `write` returns is returned. A function must
    not keep its cursor.
    """

    def __init__(self, connection: Cursor, data_directory: Path) -> None:
        self._connection: Cursor | None = connection
        self._writing = threading.Lock()
        self._memory = Memory()
        self._audit = AuditChain()
        self._writer: anyio.CapacityLimiter | None = None
        self._readers: anyio.CapacityLimiter | None = None
        self.data_directory = data_directory
        self.spool_folder = data_directory / SPOOL_FOLDER
        self.originals_folder = data_directory / ORIGINALS_FOLDER
        self.attachments_folder = data_directory / ATTACHMENTS_FOLDER

    @classmethod
    def open(cls, data_directory: Path, *, memory_limit: str, threads: int) -> Store:
        """
        Open the store, making it and its folders if they are not there yet.

        Parameters
        ----------
        data_directory : Path
            Folder of the database, the spool and the kept originals.
        memory_limit : str, keyword only
            Memory of the database before it spills to disk, for example ``"400MB"``.
        threads : int, >= 1, keyword only
            Threads of the database.

        Raises
        ------
        DataDirectoryInUse
            If another process has it open.
        MigrationError
            If a newer version of the program wrote it.
        """
        folder = data_directory.resolve()
        for name in ("", SPOOL_FOLDER, ORIGINALS_FOLDER, ATTACHMENTS_FOLDER):
            (folder / name).mkdir(mode=0o700, parents=True, exist_ok=True)
        store = cls(_connect(folder, memory_limit=memory_limit, threads=threads), folder)
        try:
            with store._cursor() as cursor:
                migrate(cursor, shipped_migrations())
                _raise_fence(cursor, [store.spool_folder, store.originals_folder])
        except BaseException:
            store.close()
            raise
        return store

    @property
    def is_writing(self) -> bool:
        """Whether a write is under way, so that another one would have to wait."""
        return self._writing.locked()

    def read_now(self, question: Callable[[Cursor], Answer]) -> Answer:
        """Run `question` on a cursor of its own in this thread; it sees one state throughout."""
        with reading(self._memory), self._cursor() as cursor, _told_plainly():
            cursor.execute("BEGIN TRANSACTION")
            try:
                return question(cursor)
            finally:
                _roll_back(cursor)

    def write_now(
        self, change: Callable[[Cursor], Answer], *, changes_facts: bool = True
    ) -> Answer:
        """
        Run `change` in one transaction in this thread: all of it is stored, or nothing.

        Parameters
        ----------
        change : callable
            Takes a cursor; what it returns is returned.
        changes_facts : bool, optional, keyword only
            False where only derived answers are kept: what was read stays true.

        Raises
        ------
        StorageBusy
            If another write holds the writer for too long, or memory ran out.
        """
        if not self._writing.acquire(timeout=WRITER_WAIT_S):
            raise StorageBusy("Another upload is being written; try again.")
        try:
            with reading(None), self._cursor() as cursor, _told_plainly():
                cursor.execute("BEGIN TRANSACTION")
                try:
                    answer = change(cursor)
                    if changes_facts:
                        self._audit.extend(cursor)
                    cursor.execute("COMMIT")
                except BaseException:
                    _roll_back(cursor)
                    self._audit.forget()
                    raise
                if changes_facts:
                    self._audit.committed()
                    self._memory.forget()
                return answer
        finally:
            self._writing.release()

    async def read(self, question: Callable[[Cursor], Answer]) -> Answer:
        """`read_now` in a worker thread."""
        if self._readers is None:
            self._readers = anyio.CapacityLimiter(READER_COUNT)
        return await anyio.to_thread.run_sync(self.read_now, question, limiter=self._readers)

    async def write(
        self, change: Callable[[Cursor], Answer], *, changes_facts: bool = True
    ) -> Answer:
        """`write_now` in a worker thread; writes wait for each other without holding one."""
        if self._writer is None:
            self._writer = anyio.CapacityLimiter(1)
        with anyio.move_on_after(WRITER_WAIT_S) as waiting:
            await self._writer.acquire()
        if waiting.cancelled_caught:
            raise StorageBusy("Another upload is being written; try again.")
        try:
            # Not abandoned when the caller goes away: a change is made or not made, never torn.
            return await anyio.to_thread.run_sync(
                partial(self.write_now, change, changes_facts=changes_facts)
            )
        finally:
            self._writer.release()

    def close(self) -> None:
        """Close the database; a second call does nothing. Waits for a write under way."""
        with self._writing:
            if self._connection is not None:
                self._connection.close()
                self._connection = None
                _OPEN_HERE.discard(self.data_directory)

    def _cursor(self) -> Cursor:
        if self._connection is None:
            raise StorageBusy("The service is shutting down.")
        return self._connection.cursor()


_OPEN_HERE: set[Path] = set()
"""Directories open in this process: the database's own lock only keeps other processes out."""
_MOST_SPILL_BYTES = 64 * 1024**3


def _connect(folder: Path, *, memory_limit: str, threads: int) -> Cursor:
    """Connection with every setting made; none can be changed once the fence stands."""
    if folder in _OPEN_HERE:
        raise DataDirectoryInUse("This process already works on the data directory.")
    database = folder / DATABASE_FILE
    settings: dict[str, str | bool | int | float | list[str]] = {
        "storage_compatibility_version": STORAGE_VERSION,
        "memory_limit": memory_limit,
        "threads": threads,
        "max_temp_directory_size": f"{_spill_bytes(folder)}B",
        "autoinstall_known_extensions": False,
        "autoload_known_extensions": False,
        "allow_community_extensions": False,
        # Every query that needs an order says so; without this an upload takes a third longer.
        "preserve_insertion_order": False,
    }
    try:
        connection = duckdb.connect(str(database), config=settings)
    except duckdb.IOException as refusal:
        if "lock" in str(refusal):
            raise DataDirectoryInUse(
                "Another process already works on the data directory; only one may. "
                "Stop it, or give this one a directory of its own."
            ) from None
        raise
    # What a killed process spilled is of no use to anyone, and nothing is spilled yet.
    shutil.rmtree(folder / f"{DATABASE_FILE}.tmp", ignore_errors=True)
    _OPEN_HERE.add(folder)
    return connection


def _spill_bytes(folder: Path) -> int:
    """Disk that queries may spill to: half of what is free, so that facts still find room."""
    return min(shutil.disk_usage(folder).free // 2, _MOST_SPILL_BYTES)


def _raise_fence(cursor: Cursor, folders: list[Path]) -> None:
    """From here on SQL reaches the database and the files of two folders, nothing else."""
    inside = ", ".join("'" + f"{folder}{os.sep}".replace("'", "''") + "'" for folder in folders)
    cursor.execute("SET GLOBAL TimeZone = 'UTC'")
    # A setting takes no bound parameter; the folders are the operator's, not a caller's.
    cursor.execute(f"SET GLOBAL allowed_directories = [{inside}]")
    cursor.execute("SET GLOBAL enable_external_access = false")
    cursor.execute("SET GLOBAL lock_configuration = true")


def _roll_back(cursor: Cursor) -> None:
    """End the transaction; it may have ended already, by a COMMIT or a fatal error."""
    with contextlib.suppress(duckdb.Error):
        cursor.execute("ROLLBACK")


@contextlib.contextmanager
def _told_plainly() -> Iterator[None]:
    """Errors of the database that a caller can wait out, in the service's own words."""
    try:
        yield
    except duckdb.OutOfMemoryException:
        raise StorageBusy("This needs more memory or disk than is free now; try again.") from None
    except duckdb.TransactionException:
        raise StorageBusy("Somebody else changed the same facts; try again.") from None
