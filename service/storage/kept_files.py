"""Files that facts stand on: whether each is still there with the bytes that arrived."""

from __future__ import annotations

import hashlib
from pathlib import Path

from service.storage.attachments import attachment_path
from service.storage.originals import original_path
from service.storage.store import Cursor

_UPLOADS = "SELECT upload_id, sha256 FROM uploads ORDER BY upload_key"
_ATTACHMENTS = "SELECT sha256 FROM attachments ORDER BY entry_no"


def first_changed_file(db: Cursor, originals: Path, attachments: Path) -> str | None:
    """First kept file that is missing or has other bytes than those that arrived."""
    kept = [
        (f"The original of upload {upload_id}", sha256, original_path(originals, sha256))
        for upload_id, sha256 in db.execute(_UPLOADS).fetchall()
    ]
    kept += [
        (f"The attachment {sha256}", sha256, attachment_path(attachments, sha256))
        for (sha256,) in db.execute(_ATTACHMENTS).fetchall()
    ]
    for named, sha256, path in kept:
        if not path.exists():
            return f"{named} is missing."
        with path.open("rb") as file:
            found = hashlib.file_digest(file, "sha256").hexdigest()
        if found != sha256:
            return f"{named} was changed."
    return None
