"""The protocol of a validation: what an installed copy was asked, and what it answered."""

from datetime import datetime
from typing import Literal

from msgspec import UNSET, Raw, Struct, UnsetType

from schemas.evidence_packs import PublicKey

ProtocolForm = Literal["lotproof validation protocol"]
PROTOCOL_FORM: ProtocolForm = "lotproof validation protocol"
PROTOCOL_VERSION = 1

StepName = Literal["published cases", "demo lots", "evidence pack", "backup", "installed files"]
KeyOrigin = Literal["data directory", "made for this protocol"]


class ValidationStep(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One step: how many things were compared, how many differ, and the first one that does.

    A step that could not be finished differs once, and says why. `notes` tell what the
    step did not compare, and which lots it used.
    """

    name: StepName
    passed: bool
    compared_count: int
    differing_count: int
    elapsed_s: float
    first_difference: str | UnsetType = UNSET
    notes: list[str] = []


class InstalledFile(Struct, frozen=True, kw_only=True):
    """A file of the installed packages with its SHA-256; the name begins with the package."""

    name: str
    sha256: str


class ValidationProtocol(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """
    What was run, on which installation, when and by whom.

    `files_sha256` is one digest over all names and digests: two copies with the same
    one are the same files. `run_by` is a statement of the person, not checked.
    """

    form: ProtocolForm
    version: int
    passed: bool
    started_at: datetime
    ended_at: datetime
    software: str
    method_version: int
    reduction_version: int
    python: str
    platform: str
    libraries: dict[str, str]
    installed_in: str
    signed_with: str
    key_origin: KeyOrigin
    steps: list[ValidationStep]
    files_sha256: str
    files: list[InstalledFile]
    run_by: str | UnsetType = UNSET


class SignedProtocol(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The protocol as a file. The exact bytes of `protocol` are what `signature` (base64) signs."""

    protocol: Raw
    key: PublicKey
    signature: str
