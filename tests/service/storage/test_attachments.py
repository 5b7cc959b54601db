"""Attachments are kept under their digest in a folder of their own, one row for each."""

import hashlib
from pathlib import Path

import duckdb
import pytest
from stores import stamp

from schemas.attachments import Attachment
from service.storage.attachments import (
    add_attachment,
    attachment_path,
    find_attachments,
    keep_attachment,
)
from service.storage.store import Store

DIGEST = hashlib.sha256(b"%PDF-1.7").hexdigest()


def add(store: Store, sha256: str = DIGEST) -> Attachment:
    return store.write_now(
        lambda db: add_attachment(
            db, sha256=sha256, media_type="application/pdf", byte_count=8, stamp=stamp()
        )
    )


def test_an_attachment_is_found_by_its_digest_as_it_was_written(store: Store) -> None:
    made = add(store)
    assert (made.sha256, made.byte_count, made.media_type) == (DIGEST, 8, "application/pdf")
    assert made.attachment_id.startswith("att_")
    found = store.read_now(lambda db: find_attachments(db, [DIGEST, "0" * 64]))
    assert found == {DIGEST: made}
    assert store.read_now(lambda db: find_attachments(db, [])) == {}


def test_the_same_bytes_are_recorded_once(store: Store) -> None:
    add(store)
    with pytest.raises(duckdb.ConstraintException):
        add(store)


def test_the_bytes_lie_beside_the_originals_without_an_ending(store: Store, tmp_path: Path) -> None:
    spooled = tmp_path / "spooled"
    spooled.write_bytes(b"%PDF-1.7")
    folder = store.attachments_folder
    kept = keep_attachment(folder, spooled, DIGEST)
    assert kept == attachment_path(folder, DIGEST) == folder / DIGEST[:2] / DIGEST
    assert kept.read_bytes() == b"%PDF-1.7"
    assert [path.name for path in kept.parent.iterdir()] == [DIGEST]
    assert folder.parent == store.originals_folder.parent
