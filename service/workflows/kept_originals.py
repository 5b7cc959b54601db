"""Kept originals read again: the file of an upload, checked to be the one that was received."""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import shutil
from collections.abc import Iterator
from pathlib import Path

from schemas.profiles import TableLimits
from service.errors import Conflict, UploadRefused
from service.intake.parquet import read_profile
from service.storage.arrivals_file import Arrival
from service.storage.originals import original_path
from service.storage.retakes import KeptUpload, OpenOriginal
from service.storage.store import Store

_NO_LIMITS = TableLimits(max_rows=2**62, max_columns=10_000, max_string_length=2**31)
"""What was accepted once is read again, whatever the limits are by now."""


class OriginalDamaged(Conflict):
    """The kept file of an upload is gone or is not what was received."""

    def __init__(self, upload_id: str) -> None:
        super().__init__(
            "ORIGINAL_DAMAGED",
            f"The kept original of upload {upload_id} is missing or is not what was received. "
            "Restore it from the backup, then send this again; nothing was changed.",
        )


def originals_of(store: Store) -> OpenOriginal:
    """What opens kept originals of a store."""

    @contextlib.contextmanager
    def open_original(kept: KeptUpload) -> Iterator[Arrival]:
        # Read by a name of its own in the spool: beside it the reader leaves a companion file.
        path = store.spool_folder / f"{secrets.token_hex(8)}.parquet"
        try:
            _second_name(original_path(store.originals_folder, kept.sha256), path, kept)
            yield _arrival(path, kept)
        finally:
            path.unlink(missing_ok=True)

    return open_original


def _second_name(original: Path, path: Path, kept: KeptUpload) -> None:
    try:
        with contextlib.suppress(OSError):
            os.link(original, path)
        if not path.exists():
            shutil.copyfile(original, path)
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        raise OriginalDamaged(kept.upload_id) from None
    if digest != kept.sha256:
        raise OriginalDamaged(kept.upload_id)


def _arrival(path: Path, kept: KeptUpload) -> Arrival:
    try:
        profile = read_profile(path, _NO_LIMITS)
    except UploadRefused:
        raise OriginalDamaged(kept.upload_id) from None
    return Arrival(
        path=path,
        profile=profile,
        sha256=kept.sha256,
        byte_count=kept.byte_count,
        received_at=kept.received_at,
        received_from=kept.received_from,
        max_string_length=_NO_LIMITS.max_string_length,
    )
