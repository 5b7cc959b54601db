"""An original is read again only if it is the file that was received."""

from __future__ import annotations

import os

import pytest
from lots_by_hand import GOOD, add_rows, run_rows
from stores import FIRST_INSTANT

from schemas.uploads import Upload
from service.storage.originals import original_path
from service.storage.retakes import KeptUpload
from service.storage.store import Store
from service.workflows.kept_originals import OriginalDamaged, originals_of


def kept(receipt: Upload) -> KeptUpload:
    return KeptUpload(
        upload_key=1,
        upload_id=receipt.upload_id,
        sha256=receipt.sha256,
        byte_count=receipt.byte_count,
        received_at=FIRST_INSTANT,
        received_from="rig-gateway",
    )


@pytest.fixture
def receipt(store: Store) -> Upload:
    return add_rows(store, run_rows("001", "run-1", [GOOD] * 3))


@pytest.mark.parametrize("has_links", [True, False])
def test_the_file_is_opened_in_the_spool_and_leaves_nothing_there(
    store: Store, receipt: Upload, monkeypatch: pytest.MonkeyPatch, *, has_links: bool
) -> None:
    if not has_links:

        def refuse(*_: object) -> None:
            raise OSError

        monkeypatch.setattr(os, "link", refuse)
    with originals_of(store)(kept(receipt)) as arrival:
        assert arrival.path.parent == store.spool_folder
        assert arrival.profile.row_count == 3
        assert (arrival.sha256, arrival.received_from) == (receipt.sha256, "rig-gateway")
    assert list(store.spool_folder.iterdir()) == []
    assert original_path(store.originals_folder, receipt.sha256).exists()


def test_a_changed_or_missing_file_is_told_plainly(store: Store, receipt: Upload) -> None:
    path = original_path(store.originals_folder, receipt.sha256)
    content = path.read_bytes()
    path.write_bytes(content[:-1] + b"x")
    with pytest.raises(OriginalDamaged, match=receipt.upload_id):
        originals_of(store)(kept(receipt)).__enter__()
    path.unlink()
    with pytest.raises(OriginalDamaged, match="backup"):
        originals_of(store)(kept(receipt)).__enter__()
    assert list(store.spool_folder.iterdir()) == []
