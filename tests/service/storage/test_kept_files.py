"""A kept file that is missing or was changed is named, an upload's and an attachment's."""

from pathlib import Path

import pytest
from lots_by_hand import add_rows, register, run_rows
from stores import open_store, stamp

from service.storage.attachments import add_attachment, keep_attachment
from service.storage.kept_files import first_changed_file
from service.storage.originals import original_path
from service.storage.store import Store


def found_in(store: Store) -> str | None:
    return store.read_now(
        lambda db: first_changed_file(db, store.originals_folder, store.attachments_folder)
    )


def test_kept_files_are_compared_with_what_arrived(tmp_path: Path) -> None:
    store = open_store(tmp_path / "data")
    register(store)
    receipt = add_rows(store, run_rows("U-1", "R-1", [33.0] * 20))
    # SHA-256 of the three letters "abc": FIPS 180-4, example of the standard, from memory.
    sha256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    arrived = tmp_path / "photo"
    arrived.write_bytes(b"abc")
    attached = keep_attachment(store.attachments_folder, arrived, sha256)
    store.write_now(
        lambda db: add_attachment(
            db, sha256=sha256, media_type="text/plain", byte_count=3, stamp=stamp()
        )
    )
    assert found_in(store) is None
    attached.write_bytes(b"abd")
    assert found_in(store) == f"The attachment {sha256} was changed."
    [(of_upload,)] = store.read_now(lambda db: db.execute("SELECT sha256 FROM uploads").fetchall())
    kept = original_path(store.originals_folder, of_upload)
    kept.unlink()
    assert found_in(store) == f"The original of upload {receipt.upload_id} is missing."
    store.close()


@pytest.mark.parametrize("content", [b"", b"other bytes"])
def test_an_original_with_other_bytes_is_named(tmp_path: Path, content: bytes) -> None:
    store = open_store(tmp_path / "data")
    register(store)
    add_rows(store, run_rows("U-1", "R-1", [33.0] * 20))
    [(of_upload,)] = store.read_now(lambda db: db.execute("SELECT sha256 FROM uploads").fetchall())
    original_path(store.originals_folder, of_upload).write_bytes(content)
    assert "was changed" in str(found_in(store))
    store.close()
