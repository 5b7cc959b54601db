"""An evidence pack as a file: parts under a signed list of their digests."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path

import msgspec

from schemas.evidence_packs import PackManifest, PackPart

MANIFEST, SIGNATURE, KEY = "manifest.json", "manifest.sig", "key.json"
DECISION, EVIDENCE, README = "decision.json", "evidence.json", "README.txt"
UPLOADS = "uploads/"
_OLDEST = (1980, 1, 1, 0, 0, 0)
_MOST_PARTS = 10_000
_MOST_PART_BYTES = 8 * 1024**3
_MOST_UNPACKED = 1_000
"""A part may unpack to so many times its packed size, as JSON with many repeats does."""
_CHUNK = 1 << 20

READ_THIS = """\
This pack holds a recorded verdict on a lot and what it rests on.

  decision.json   the verdict as it was signed, with its whole evaluation
  evidence.json   the specification, the summaries of every unit's rows, inspections and other
                  records, signed answers to holds, the lives that follow, digests of all files
  uploads/        the files as they were uploaded (only if they were asked for)
  manifest.json   digest of every part; manifest.sig is its Ed25519 signature, key.json the key

Check it with `lotproof evidence verify FILE [--key PUBLIC_KEY]`; nothing else is needed. A verdict
is a statistical statement; it is no permission to pressurise or to ship.
"""


class BrokenPack(ValueError):
    """A file that is no evidence pack, or one that was damaged; says where."""


def part_of(name: str, content: bytes) -> PackPart:
    """A part with its digest."""
    return PackPart(name=name, byte_count=len(content), sha256=hashlib.sha256(content).hexdigest())


def part_of_file(name: str, path: Path) -> PackPart:
    """The same for a file on disk, which is not read into memory as a whole."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return PackPart(name=name, byte_count=path.stat().st_size, sha256=digest)


def write_pack(target: Path, contents: Mapping[str, bytes], files: Mapping[str, Path]) -> None:
    """Write a pack; the same parts give the same bytes."""
    with zipfile.ZipFile(target, "w") as pack:
        for name, content in contents.items():
            pack.writestr(_entry(name, zipfile.ZIP_DEFLATED), content)
        for name, path in files.items():
            # A Parquet file is compressed already.
            with path.open("rb") as source, pack.open(_entry(name, zipfile.ZIP_STORED), "w") as out:
                while chunk := source.read(_CHUNK):
                    out.write(chunk)


def _entry(name: str, method: int) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, date_time=_OLDEST)
    entry.compress_type = method
    entry.external_attr = 0o644 << 16
    return entry


class OpenPack:
    """
    A pack that is read part by part.

    Raises
    ------
    BrokenPack
        If it is no archive, names a part twice, or holds more than a pack may.
    """

    def __init__(self, path: Path) -> None:
        try:
            self._pack = zipfile.ZipFile(path)
        except (zipfile.BadZipFile, OSError):
            raise BrokenPack(f"{path.name} is no evidence pack.") from None
        self._entries = {entry.filename: entry for entry in self._pack.infolist()}
        if len(self._entries) != len(self._pack.infolist()):
            raise BrokenPack("The pack names a part twice.")
        if len(self._entries) > _MOST_PARTS:
            raise BrokenPack("The pack has more parts than a pack may have.")

    @property
    def names(self) -> set[str]:
        """Names of everything in the pack."""
        return set(self._entries)

    def read(self, name: str) -> bytes:
        """A part as a whole; `BrokenPack` if it is missing, damaged or far too large."""
        buffer = io.BytesIO()
        for chunk in self._chunks(name):
            buffer.write(chunk)
        return buffer.getvalue()

    def measured(self, name: str) -> PackPart:
        """A part with the size and the digest that it really has."""
        digest, size = hashlib.sha256(), 0
        for chunk in self._chunks(name):
            digest.update(chunk)
            size += len(chunk)
        return PackPart(name=name, byte_count=size, sha256=digest.hexdigest())

    def manifest(self) -> PackManifest:
        """What the pack says is in it."""
        try:
            return msgspec.json.decode(self.read(MANIFEST), type=PackManifest)
        except msgspec.DecodeError as error:
            raise BrokenPack(f"{MANIFEST} cannot be read: {error}.") from None

    def close(self) -> None:
        """Close the file."""
        self._pack.close()

    def _chunks(self, name: str) -> Iterator[bytes]:
        entry = self._entries.get(name)
        if entry is None:
            raise BrokenPack(f"The part {name} is missing.")
        too_large = entry.file_size > max(_CHUNK, _MOST_UNPACKED * entry.compress_size)
        if entry.file_size > _MOST_PART_BYTES or too_large:
            raise BrokenPack(f"The part {name} unpacks to more than a part may.")
        try:
            with self._pack.open(entry) as part:
                while chunk := part.read(_CHUNK):
                    yield chunk
        except (zipfile.BadZipFile, OSError, RuntimeError, ValueError):
            raise BrokenPack(f"The part {name} is damaged.") from None
        except Exception as error:  # zlib.error has no common base with the others
            if type(error).__module__ != "zlib":
                raise
            raise BrokenPack(f"The part {name} is damaged.") from None
