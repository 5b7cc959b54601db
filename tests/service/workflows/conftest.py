"""A store, a clock that stands still until it is moved, and somebody who asks."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from stores import StandingClock, open_store

from service.storage.store import Store
from service.tokens import Actor


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path / "data")
    yield opened
    opened.close()


@pytest.fixture
def clock() -> StandingClock:
    return StandingClock()


@pytest.fixture
def actor() -> Actor:
    return Actor(name="Test bench", kind="SYSTEM", scopes=frozenset({"admin"}))


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"
