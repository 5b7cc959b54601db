"""Facts read once and remembered until the next fact is written.

One process owns the store, so what was read stays true until this process writes
again. Only reads remember; inside a write everything is read anew.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Hashable, Iterator
from contextvars import ContextVar
from typing import Any, TypeVar

Answer = TypeVar("Answer")

MOST_REMEMBERED = 64
"""Readings kept at a time; the oldest goes first."""


class Memory:
    """What one store's reads remember, and the number of writes it belongs to."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._write_no = 0
        self._readings: dict[Hashable, tuple[int, Any]] = {}

    @property
    def write_no(self) -> int:
        """Number of writes that changed facts so far."""
        return self._write_no

    def forget(self) -> None:
        """A write has changed facts: what was read before is not to be used any more."""
        with self._lock:
            self._write_no += 1
            self._readings.clear()

    def find(self, key: Hashable, write_no: int) -> tuple[Any] | None:
        """The reading under `key` if it is of that write or a later one."""
        kept = self._readings.get(key)
        return (kept[1],) if kept is not None and kept[0] >= write_no else None

    def keep(self, key: Hashable, write_no: int, reading: Any) -> None:
        """Remember a reading, unless facts have changed since it was begun."""
        with self._lock:
            if write_no != self._write_no:
                return
            while len(self._readings) >= MOST_REMEMBERED:
                self._readings.pop(next(iter(self._readings)))
            self._readings[key] = (write_no, reading)


_READING: ContextVar[tuple[Memory, int] | None] = ContextVar("reading", default=None)


@contextlib.contextmanager
def reading(memory: Memory | None) -> Iterator[None]:
    """While this is entered, `recall` uses `memory`; with None it remembers nothing."""
    # The number is taken before the transaction begins: its state can only be newer.
    token = _READING.set(None if memory is None else (memory, memory.write_no))
    try:
        yield
    finally:
        _READING.reset(token)


def recall(key: Hashable, read: Callable[[], Answer]) -> Answer:
    """
    What `read` gives, from memory if nothing was written since it last gave it.

    Parameters
    ----------
    key : hashable
        Names the reading; the same key always means the same question.
    read : callable
        Reads the facts. What it gives must never be changed by anybody.
    """
    current = _READING.get()
    if current is None:
        return read()
    memory, write_no = current
    kept = memory.find(key, write_no)
    if kept is not None:
        answer: Answer = kept[0]
        return answer
    answer = read()
    memory.keep(key, write_no, answer)
    return answer
