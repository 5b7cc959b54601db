"""An open store in a temporary folder, for tests of what is kept."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from service.storage.facts import Stamp
from service.storage.store import Store

FIRST_INSTANT = datetime(2026, 11, 25, 7, 0, tzinfo=UTC)


def open_store(folder: Path) -> Store:
    """A store with little memory and one thread; the caller closes it."""
    return Store.open(folder, memory_limit="200MB", threads=1)


def stamp(minute: int = 0, by: str = "Test bench") -> Stamp:
    """Who and when, `minute` minutes after the first instant of the tests."""
    return Stamp(at=FIRST_INSTANT + timedelta(minutes=minute), by=by)


class StandingClock:
    """Gives the same instant until it is moved."""

    def __init__(self) -> None:
        self.now = FIRST_INSTANT

    def __call__(self) -> datetime:
        return self.now

    def pass_minutes(self, minutes: int) -> None:
        self.now += timedelta(minutes=minutes)
