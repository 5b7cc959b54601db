"""The files of this copy: their digests, and whether they are the ones that were installed."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from importlib import metadata
from pathlib import Path

from schemas.validations import InstalledFile
from service.validation.step_report import Compared

PACKAGES = ("analysis", "schemas", "service")
DISTRIBUTION = "lotproof"
_EDITABLE = "no wheel is installed here (editable install or checkout): digests are listed only"


def installed_root() -> Path:
    """Folder that the running packages stand in."""
    return Path(__file__).resolve().parents[2]


def digests_of(root: Path) -> list[InstalledFile]:
    """Every file of the three packages under a folder, but what Python compiles for itself."""
    return [
        InstalledFile(name=path.relative_to(root).as_posix(), sha256=_sha256(path).hex())
        for package in PACKAGES
        for path in sorted((root / package).rglob("*"))
        if path.is_file() and "__pycache__" not in path.parts
    ]


def digest_of_all(files: Sequence[InstalledFile]) -> str:
    """One digest over names and digests."""
    lines = "".join(f"{each.sha256}  {each.name}\n" for each in files)
    return hashlib.sha256(lines.encode()).hexdigest()


def compare_files(root: Path, files: Sequence[InstalledFile]) -> Compared:
    """
    The files of a copy against the list that its wheel brought.

    Without a wheel there is nothing to compare, and a note says so. A difference is
    a changed, missing or strange file, or a program that runs from another folder
    than the one that was installed.
    """
    wheel = _wheel_record()
    if wheel is None:
        return Compared(count=0, differences=[], notes=[_EDITABLE], may_be_empty=True)
    installed, recorded = wheel
    if installed != root:
        return Compared(
            count=len(files),
            differences=[f"the program runs from {root}, the wheel is installed in {installed}"],
        )
    found = {each.name: each.sha256 for each in files}
    differences = [
        _said(name, found.get(name), recorded.get(name))
        for name in sorted({*found, *recorded})
        if found.get(name) != recorded.get(name)
    ]
    return Compared(
        count=len({*found, *recorded}),
        differences=differences,
        notes=["compared with the list of files of the installed wheel"],
    )


def _said(name: str, found: str | None, recorded: str | None) -> str:
    if found is None:
        return f"{name} is missing"
    if recorded is None:
        return f"{name} is not on the list of the wheel"
    return f"{name} is not the file that was installed"


def _wheel_record() -> tuple[Path, dict[str, str]] | None:
    """Folder of the installed wheel and its list, name to SHA-256; None without a wheel."""
    try:
        distribution = metadata.distribution(DISTRIBUTION)
    except metadata.PackageNotFoundError:
        return None
    recorded = {
        str(file): _hex(file.hash.value)
        for file in distribution.files or ()
        if file.parts[0] in PACKAGES and "__pycache__" not in file.parts and file.hash is not None
    }
    if not recorded:
        return None
    return Path(str(distribution.locate_file(""))).resolve(), recorded


def _hex(value: str) -> str:
    """A digest as a wheel lists it (base64 without its end signs), in hexadecimal."""
    return base64.urlsafe_b64decode(value + "=" * (-len(value) % 4)).hex()


def _sha256(path: Path) -> bytes:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").digest()
