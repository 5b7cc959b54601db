"""Evidence packs: all that a recorded verdict rests on, to be checked without the service."""

from typing import Literal

from msgspec import UNSET, Struct, UnsetType

from schemas.audit import AuditHead
from schemas.calibrations import Calibration
from schemas.corrections import NewCorrection
from schemas.holds import HoldAnswer
from schemas.lives import UnitLife
from schemas.sample_draws import SampleDraw
from schemas.specs import SpecVersion
from schemas.unit_evidence import UnitEvidence

PackForm = Literal["lotproof evidence pack"]
PACK_FORM: PackForm = "lotproof evidence pack"
PACK_VERSION = 1


class UploadDigest(Struct, frozen=True, kw_only=True):
    """An upload that held rows or lives of the lot when the verdict was recorded."""

    upload_id: str
    sha256: str
    row_count: int


class DecisionEvidence(Struct, frozen=True, kw_only=True):
    """
    What a verdict rested on when it was recorded.

    `units` are the summaries of each unit's rows with everything that people recorded
    about it, `answers` the signed answers to holds; `lives` follow from them under `spec`.
    `is_listed` says whether anybody listed a sample, `draws` how it was drawn. `uploads`
    stand in the order of arrival, without withdrawn ones; `corrections` say which unit
    rows belong to that were written under another name.
    """

    registered: bool
    marks: list[str]
    spec: SpecVersion
    units: list[UnitEvidence]
    answers: dict[str, HoldAnswer]
    lives: list[UnitLife]
    draws: list[SampleDraw]
    is_listed: bool
    uploads: list[UploadDigest]
    calibrations: list[Calibration]
    corrections: list[NewCorrection]


class PackPart(Struct, frozen=True, kw_only=True):
    """A file of the pack."""

    name: str
    byte_count: int
    sha256: str


class PackManifest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """
    What is in a pack. Its exact bytes are what is signed.

    `audit_head` is the end of the service's audit trail when the pack was made.
    """

    form: PackForm
    version: int
    decision_id: str
    lot_number: str
    software: str
    libraries: dict[str, str]
    audit_head: AuditHead
    signed_with: str
    parts: list[PackPart]


class PublicKey(Struct, frozen=True, kw_only=True):
    """Ed25519 key that packs of this service are signed with; the id is its SHA-256, cut short."""

    key_id: str
    algorithm: Literal["Ed25519"]
    public_key: str


class PublicKeys(Struct, frozen=True, kw_only=True):
    """Every key that this service has signed with."""

    items: list[PublicKey]


class PackReport(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    What a check of a pack found. `difference` is the first one; absent: there is none.
    `not_checked` says what could not be computed again from this pack, and why.

    `signed_with` is the key in the pack; `key_is_known` whether the reader gave it.
    """

    is_sound: bool
    checked: list[str]
    key_is_known: bool
    not_checked: list[str] = []
    signed_with: str | UnsetType = UNSET
    difference: str | UnsetType = UNSET
