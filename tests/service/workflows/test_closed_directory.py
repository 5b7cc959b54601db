"""A closed data directory answers one question and is free again."""

from pathlib import Path

import pytest
from stores import open_store

from service.errors import DataDirectoryInUse
from service.settings import Settings
from service.workflows.closed_directory import ask_closed_directory


def test_a_directory_is_free_again_after_the_question(tmp_path: Path) -> None:
    settings = Settings(data_directory=tmp_path)
    assert ask_closed_directory(settings, lambda db, _: db.execute("SELECT 7").fetchall()) == [(7,)]
    with pytest.raises(ZeroDivisionError):
        ask_closed_directory(settings, lambda _db, _store: 1 / 0)
    open_store(tmp_path).close()


def test_a_directory_that_is_open_is_refused(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    with pytest.raises(DataDirectoryInUse):
        ask_closed_directory(Settings(data_directory=tmp_path), lambda _db, _store: None)
    store.close()
