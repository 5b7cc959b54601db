"""One process per data directory: a lock that the operating system drops with the process."""

from __future__ import annotations

import contextlib
import fcntl
import os
from collections.abc import Iterator
from pathlib import Path

from service.errors import DataDirectoryInUse, OperatorError

LOCK_FILE = ".lock"


@contextlib.contextmanager
def hold_data_directory(data_directory: Path) -> Iterator[None]:
    """
    Keep every other process off a data directory; it is made if it is missing.

    The database has a lock of its own; this one tells at once, before anything
    is opened, and names the process that holds it.

    Raises
    ------
    DataDirectoryInUse
        If another process holds it. A process that was killed holds nothing.
    OperatorError
        If there is no such place, or this process may not write there.
    """
    descriptor = _open_lock(data_directory)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.read(descriptor, 20).decode(errors="replace").strip() or "unknown"
            raise DataDirectoryInUse(
                f"{data_directory} is in use by another lotproof process (process id {holder}). "
                "Stop that one first; one process works on a data directory at a time."
            ) from None
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
        yield
    finally:
        os.close(descriptor)


def _open_lock(data_directory: Path) -> int:
    try:
        data_directory.mkdir(parents=True, exist_ok=True)
        return os.open(data_directory / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as refusal:
        raise OperatorError(
            f"{data_directory} cannot be used as a data directory: {refusal.strerror}. "
            "Name one that this user may write to."
        ) from None
