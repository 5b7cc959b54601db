"""The audit trail: a chain of hashes over every fact that was stored."""

from msgspec import UNSET, Struct, UnsetType


class AuditLink(Struct, frozen=True, kw_only=True):
    """
    One fact in the trail.

    `fact_kind` and `fact_no` name the stored fact, `fact_sha256` is the hash of what it
    says, `link` that of the link before it with this fact.
    """

    position: int
    fact_kind: str
    fact_no: int
    fact_sha256: str
    link: str


class AuditHead(Struct, frozen=True, kw_only=True):
    """The end of the trail: whoever notes it down can tell later that nothing was cut off."""

    position: int
    link: str


class AuditReport(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    What a check of the trail found. `difference` is the first one, in words; absent: none.
    """

    is_intact: bool
    link_count: int
    head: AuditHead
    difference: str | UnsetType = UNSET
