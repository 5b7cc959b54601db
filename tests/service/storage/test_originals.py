"""Originals are kept under their digest, whole or not at all."""

import os
from pathlib import Path

import pytest

from service.storage.originals import keep_original, original_path

DIGEST = "ab" + "0" * 62


@pytest.fixture
def spooled(tmp_path: Path) -> Path:
    path = tmp_path / "spooled.parquet"
    path.write_bytes(b"rows")
    return path


def test_an_original_lies_under_its_digest_and_the_spool_keeps_its_own(
    tmp_path: Path, spooled: Path
) -> None:
    kept = keep_original(tmp_path, spooled, DIGEST)
    assert kept == tmp_path / "ab" / f"{DIGEST}.parquet" == original_path(tmp_path, DIGEST)
    assert kept.read_bytes() == spooled.read_bytes() == b"rows"
    spooled.unlink()
    assert kept.read_bytes() == b"rows"
    assert [path.name for path in kept.parent.iterdir()] == [kept.name]


def test_keeping_it_again_is_harmless(tmp_path: Path, spooled: Path) -> None:
    keep_original(tmp_path, spooled, DIGEST)
    half = original_path(tmp_path, DIGEST)
    half.unlink()
    half.write_bytes(b"ro")
    assert keep_original(tmp_path, spooled, DIGEST).read_bytes() == b"rows"


def test_a_file_system_without_second_names_gets_a_copy(
    tmp_path: Path, spooled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise OSError("no links here")

    monkeypatch.setattr(os, "link", refuse)
    assert keep_original(tmp_path, spooled, DIGEST).read_bytes() == b"rows"


def test_file_and_folders_are_on_disk_before_it_returns(
    tmp_path: Path, spooled: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[str] = []
    sync = os.fsync

    def watch(handle: int) -> None:
        synced.append(os.readlink(f"/proc/self/fd/{handle}"))
        sync(handle)

    monkeypatch.setattr(os, "fsync", watch)
    keep_original(tmp_path, spooled, DIGEST)
    assert Path(synced[0]).parent == tmp_path / "ab"
    assert synced[1:] == [str(tmp_path / "ab"), str(tmp_path)]
