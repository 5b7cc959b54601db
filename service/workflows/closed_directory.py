"""A question to a data directory that no service has open."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from service.data_lock import hold_data_directory
from service.settings import Settings
from service.storage.store import Cursor, Store

Answer = TypeVar("Answer")


def ask_closed_directory(settings: Settings, question: Callable[[Cursor, Store], Answer]) -> Answer:
    """
    Open a data directory for one question, and close it again.

    Raises
    ------
    DataDirectoryInUse
        If another process works on it.
    """
    with hold_data_directory(settings.data_directory):
        store = Store.open(
            settings.data_directory,
            memory_limit=settings.memory_limit,
            threads=settings.thread_count,
        )
        try:
            return store.read_now(lambda db: question(db, store))
        finally:
            store.close()
