"""A store per test."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from stores import open_store

from service.storage.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path / "data")
    yield opened
    opened.close()
