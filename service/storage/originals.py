"""Uploaded files as they came, kept under their own SHA-256."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from pathlib import Path

_FOLDER_LETTERS = 2
_SUFFIX = ".parquet"


def original_path(folder: Path, sha256: str, *, suffix: str = _SUFFIX) -> Path:
    """
    Where the original with a digest is kept, whether it is there or not.

    Examples
    --------
    >>> original_path(Path("originals"), "ab12").as_posix()
    'originals/ab/ab12.parquet'
    """
    return folder / sha256[:_FOLDER_LETTERS] / f"{sha256}{suffix}"


def keep_original(folder: Path, spooled: Path, sha256: str, *, suffix: str = _SUFFIX) -> Path:
    """
    Keep a spooled file for good; on return it survives a loss of power.

    Call it before the commit of the upload: a kept file without an upload is
    harmless, an upload without its file is not. The file in the spool keeps
    its name too.

    Parameters
    ----------
    folder : Path
        Folder of the originals.
    spooled : Path
        The file, complete.
    sha256 : str
        Its digest in hexadecimal.
    suffix : str, optional, keyword only
        Ending of the kept name.

    Returns
    -------
    Path
        Where it is kept now.
    """
    kept = original_path(folder, sha256, suffix=suffix)
    new_folder = not kept.parent.exists()
    kept.parent.mkdir(mode=0o700, exist_ok=True)
    # By way of a name of its own, so that the kept name never stands for half a file.
    arriving = kept.with_suffix(f".{secrets.token_hex(8)}")
    try:
        _link_or_copy(spooled, arriving)
        _sync(arriving)
        os.replace(arriving, kept)
    finally:
        arriving.unlink(missing_ok=True)
    _sync(kept.parent)
    if new_folder:
        _sync(folder)
    return kept


def _link_or_copy(source: Path, target: Path) -> None:
    """A second name for a file, or a copy where the file system has no second names."""
    with contextlib.suppress(OSError):
        os.link(source, target)
        return
    shutil.copyfile(source, target)


def _sync(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
