"""Failure records: what was found to have failed, who held the part, and who signed for it."""

from datetime import datetime
from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.attachments import Attachment, Sha256
from schemas.decisions import RefusalKind, Verdict
from schemas.dispositions import MayDecide, VerdictStanding, Why
from schemas.lives import FailureSeen
from schemas.lots import CyclePoint, UnitName
from schemas.quantities import CycleCount, Instant, Key, Name

SIGNATURES_NEEDED = 2
"""Signatures, by different persons, without which a record cannot make a failure count less."""

Finding = Annotated[
    str,
    Meta(min_length=1, max_length=20_000, pattern=r"\S", description="More than white space."),
]
FailureRecordState = Literal["IN_EFFECT", "AWAITS_SIGNATURES", "SUPERSEDED", "NO_FAILURE_SEEN"]
"""NO_FAILURE_SEEN: neither rows nor inspections nor a signed hold show a failure of the unit."""


class _Read(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of everything read from a caller: unknown fields are refused."""


class CustodyEntry(_Read, frozen=True, kw_only=True):
    """From when on who held the part, and where."""

    held_by: Name
    place: Name
    from_at: Instant


class HiddenBefore(_Read, frozen=True, kw_only=True):
    """
    The examination found damage that is older than the failure that the rows show.

    One of the two says up to where it was surely absent: the cycle of a run, or a number
    of the unit's counted cycles. With neither, nothing is known of when it began.
    """

    clean_after: CyclePoint | None = None
    clean_at_cycles: CycleCount | None = None


class NewFailureRecord(_Read, frozen=True, kw_only=True):
    """
    What an examination says of a unit's failure. The same key with the same content adds nothing.

    `failure_mode` is one of the specification's modes, or a name of one's own: a mode that
    the specification does not know counts as relevant, and as critical where the gravest
    mode that shows in this way is. `attachments` are digests of attachments stored before.
    """

    record_key: Key
    unit: UnitName
    failure_mode: Name
    cause: Finding
    evidence: Finding
    examined_at: Instant
    hidden_before: HiddenBefore | None = None
    custody: Annotated[list[CustodyEntry], Meta(max_length=200)] = []
    attachments: Annotated[list[Sha256], Meta(max_length=200)] = []


class FailureRecord(Struct, frozen=True, kw_only=True):
    """A recorded examination. Never edited; a later one of the same unit supersedes it."""

    record_id: str
    lot_id: str
    unit_id: str
    record: NewFailureRecord
    recorded_at: datetime
    recorded_by: str


class NewRecordSignature(_Read, frozen=True, kw_only=True):
    """Body of a signature: what it means and why it is given."""

    meaning: Name
    reason: Why


class RecordSignature(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One person's signature under a failure record. Never edited.

    It is given for `failure` as its signer saw it, and for no other: when rows or records
    make another failure the unit's first, the record has to be signed again. `before` and
    `after` are the verdict on the lot without and with this signature.
    """

    signature_id: str
    record_id: str
    failure: FailureSeen
    meaning: str
    reason: str
    before: VerdictStanding
    after: VerdictStanding
    signed_at: datetime
    signed_by: str
    actor_kind: Literal["PERSON"]
    in_effect: bool


class FailureRecordReport(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    A failure record with all that its signer must see.

    `failure` is what ended the unit's life, as it counts now. `signatures_missing` is how
    many different persons still have to sign; 0 where the record needs none or has them.
    `if_signed` is the verdict on the lot once they have.
    """

    record: FailureRecord
    lot_number: str
    unit_serial: str
    state: FailureRecordState
    may_sign: MayDecide
    signatures_needed: int
    signatures_missing: int
    signatures: list[RecordSignature]
    attachments: list[Attachment]
    verdict: Verdict
    evaluation_key: str
    kind: RefusalKind | UnsetType = UNSET
    failure: FailureSeen | UnsetType = UNSET
    if_signed: VerdictStanding | UnsetType = UNSET
