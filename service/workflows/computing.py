"""Computations that would hold up other requests: in worker threads, a few at a time."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TypeVar

import anyio
import anyio.to_thread

WORKER_COUNT = 2
"""Computations at a time; more would only share the same processors."""

Answer = TypeVar("Answer")


class Workers:
    """Where computations run that rest on no store; made once for the whole application."""

    def __init__(self) -> None:
        self._limiter: anyio.CapacityLimiter | None = None
        self._alone = threading.Lock()

    async def run(self, compute: Callable[[], Answer]) -> Answer:
        """Run a computation in a worker thread; others wait for their turn."""
        if self._limiter is None:
            self._limiter = anyio.CapacityLimiter(WORKER_COUNT)
        return await anyio.to_thread.run_sync(compute, limiter=self._limiter)

    async def run_alone(self, compute: Callable[[], Answer], *, seconds: float) -> Answer | None:
        """
        Run a computation that must not run twice at once, and wait only so long for it.

        Parameters
        ----------
        compute : callable
        seconds : float, keyword only
            Longest wait, the wait for its turn included.

        Returns
        -------
        object or None
            None where the time was up. A thread cannot be stopped: the computation ends by
            itself, and the next one waits for it.
        """

        def in_turn() -> Answer | None:
            if not self._alone.acquire(timeout=seconds):
                return None
            try:
                return compute()
            finally:
                self._alone.release()

        with anyio.move_on_after(seconds):
            return await anyio.to_thread.run_sync(in_turn, abandon_on_cancel=True)
        return None
