"""Dispositions: signed answers to holds, and a hold with all that its signer must see."""

from datetime import datetime
from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.decisions import RefusalKind, Verdict
from schemas.holds import Alternative, Hold, HoldChoice, HoldCode, HoldEvidence
from schemas.quantities import Name

Why = Annotated[
    str,
    Meta(min_length=1, max_length=4_000, pattern=r"\S", description="More than white space."),
]
HoldState = Literal["OPEN", "DECIDED", "CLOSED"]
"""CLOSED: nobody is asked any more, because rows or records behind the hold have changed."""
ListedState = Literal["open", "decided"]
"""As the query parameter `state` of a list spells it."""


class NewDisposition(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Body of a disposition: the alternative chosen, what the signature means, and why."""

    choice: HoldChoice
    meaning: Name
    reason: Why


class VerdictStanding(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The verdict on a lot at one moment, and the evaluation that gave it."""

    verdict: Verdict
    open_hold_count: int
    evaluation_key: str
    kind: RefusalKind | UnsetType = UNSET


class Disposition(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    A signed answer to a hold. Never edited; a later one supersedes it, both stay.

    `hold` is the question as it stood when it was signed, its evidence included, and
    `before` and `after` are the verdict on the lot without and with the answer.
    `in_effect` says whether the lot's evaluation rests on it now: it does not where a
    later one was signed, or where rows or records behind the hold have changed.
    """

    disposition_id: str
    hold_id: str
    lot_id: str
    choice: HoldChoice
    meaning: str
    reason: str
    chosen: Alternative
    hold: Hold
    before: VerdictStanding
    after: VerdictStanding
    signed_at: datetime
    signed_by: str
    actor_kind: Literal["PERSON"]
    in_effect: bool


class HoldOption(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One way of deciding a hold: the life that the unit would have, and the lot's verdict.

    Other open holds stay open in it, so that the verdict may still be HOLD.
    """

    choice: HoldChoice
    ending: str
    credited_cycles: int
    failed: bool
    verdict: Verdict
    open_hold_count: int
    kind: RefusalKind | UnsetType = UNSET


class MayDecide(Struct, frozen=True, kw_only=True):
    """Who may sign a disposition: a person whose token holds the scope."""

    scope: Literal["holds.sign"] = "holds.sign"
    actor_kind: Literal["PERSON"] = "PERSON"


class HoldReport(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    A hold with all that its signer must see.

    `verdict` is the lot's as it stands. `credited_cycles_at_stake` is what the unit's
    credit differs by between the two options. A CLOSED hold has no options; its
    `dispositions` are history.
    """

    hold_id: str
    state: HoldState
    name: HoldCode
    lot_id: str
    lot_number: str
    unit_id: str
    unit_serial: str
    evidence: list[HoldEvidence]
    verdict: Verdict
    evaluation_key: str
    may_decide: MayDecide
    options: list[HoldOption]
    dispositions: list[Disposition]
    credited_cycles_at_stake: int | UnsetType = UNSET
    answered_with: HoldChoice | UnsetType = UNSET


class CombinationVerdict(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The lot's verdict with every open hold decided as `choices` says, by hold."""

    choices: dict[str, HoldChoice]
    verdict: Verdict
    kind: RefusalKind | UnsetType = UNSET


class HoldCombinations(Struct, frozen=True, kw_only=True):
    """
    The verdict under every way of deciding a lot's open holds.

    Where they are too many for that, `is_complete` is false, and only all of them for
    the lot and all of them against it are given.
    """

    lot_id: str
    lot_number: str
    evaluation_key: str
    verdict: Verdict
    open_hold_count: int
    is_complete: bool
    combinations: list[CombinationVerdict]
