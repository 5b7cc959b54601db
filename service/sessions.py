"""Browser sessions and one-time sign-in links; both live in memory only."""

from __future__ import annotations

import hashlib
import secrets
import time
from collections import deque
from collections.abc import Callable

from msgspec import Struct

from service.tokens import Actor

SESSION_COOKIE = "lotproof_session"
SESSION_LIFE_S = 12 * 3600
CODE_LIFE_S = 15 * 60
MAX_FAILED_ATTEMPTS = 20
ATTEMPT_WINDOW_S = 60


class _Entry(Struct, frozen=True):
    actor: Actor
    until: float


class Sessions:
    """
    Who is signed in with a browser.

    Only hashes of codes and cookies are kept. A restart signs everybody out.

    Parameters
    ----------
    clock : callable, optional
        Seconds that only ever grow; replaced in tests.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._codes: dict[str, _Entry] = {}
        self._sessions: dict[str, _Entry] = {}
        self._failures: dict[str, deque[float]] = {}

    def issue_code(self, actor: Actor) -> str:
        """A code that signs a browser in as `actor` once, within 15 minutes."""
        return self._issue(self._codes, actor, CODE_LIFE_S)

    def redeem_code(self, code: str) -> Actor | None:
        """Who a code stands for; the code is spent. None if unknown, spent or too old."""
        entry = self._codes.pop(_digest(code), None)
        return entry.actor if entry is not None and entry.until > self._clock() else None

    def open(self, actor: Actor) -> str:
        """Start a session; the answer is the value of its cookie."""
        return self._issue(self._sessions, actor, SESSION_LIFE_S)

    def find(self, cookie: str) -> Actor | None:
        """Who a cookie belongs to; None if unknown or too old."""
        entry = self._sessions.get(_digest(cookie))
        return entry.actor if entry is not None and entry.until > self._clock() else None

    def close(self, cookie: str) -> None:
        """End a session."""
        self._sessions.pop(_digest(cookie), None)

    def seconds_to_wait(self, client: str) -> int:
        """Seconds an address must wait after too many failed attempts; 0 if it need not."""
        failures = self._recent_failures(client)
        if len(failures) < MAX_FAILED_ATTEMPTS:
            return 0
        return max(1, round(failures[0] + ATTEMPT_WINDOW_S - self._clock()))

    def note_failure(self, client: str) -> None:
        """Count a failed attempt of an address."""
        self._recent_failures(client).append(self._clock())

    def _recent_failures(self, client: str) -> deque[float]:
        now = self._clock()
        for address, moments in list(self._failures.items()):
            while moments and moments[0] <= now - ATTEMPT_WINDOW_S:
                moments.popleft()
            if not moments:
                del self._failures[address]
        return self._failures.setdefault(client, deque(maxlen=MAX_FAILED_ATTEMPTS))

    def _issue(self, entries: dict[str, _Entry], actor: Actor, life_s: float) -> str:
        now = self._clock()
        for key in [key for key, entry in entries.items() if entry.until <= now]:
            del entries[key]
        text = secrets.token_urlsafe(32)
        entries[_digest(text)] = _Entry(actor, now + life_s)
        return text


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
