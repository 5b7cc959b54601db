"""One process per data directory."""

from pathlib import Path

import pytest

from service.data_lock import hold_data_directory
from service.errors import DataDirectoryInUse, OperatorError


def test_a_second_holder_is_refused_and_told_the_process(tmp_path: Path) -> None:
    import os

    with (
        hold_data_directory(tmp_path),
        pytest.raises(DataDirectoryInUse, match=f"process id {os.getpid()}"),
        hold_data_directory(tmp_path),
    ):
        pass


def test_it_is_free_again_afterwards(tmp_path: Path) -> None:
    for _ in range(2):
        with hold_data_directory(tmp_path / "made"):
            assert (tmp_path / "made").is_dir()


def test_a_place_that_cannot_be_a_directory_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with (
        pytest.raises(OperatorError, match="cannot be used as a data directory: Not a directory"),
        hold_data_directory(tmp_path / "file" / "data"),
    ):
        pass
