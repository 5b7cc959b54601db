"""Uploads withdrawn and serials or lots corrected: what was signed, and what it changed."""

from datetime import datetime
from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.dispositions import VerdictStanding, Why
from schemas.lives import Ending
from schemas.quantities import CycleCount, Instant, Key, Name


class _Read(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of everything read from a caller: unknown fields are refused."""


class NewWithdrawal(_Read, frozen=True, kw_only=True):
    """Body of a withdrawal: what the signature means, and why the rows are to count no more."""

    meaning: Name
    reason: Why


class NamedUnit(_Read, frozen=True, kw_only=True):
    """A unit by lot and serial; without a serial, every unit of the lot."""

    lot_number: Name
    unit_serial: Name | None = None


class CorrectionScope(_Read, frozen=True, kw_only=True):
    """
    Which rows a correction speaks of; a field left out does not narrow it.

    Both counters are included; `started_from` is, `started_before` is not. Lives of a lives
    table have neither place nor time: only a scope without any of them reaches them.
    """

    upload_id: Key | None = None
    rig_id: Name | None = None
    run_id: Name | None = None
    station_no: Annotated[int, Meta(ge=0, le=10_000)] | None = None
    started_from: Instant | None = None
    started_before: Instant | None = None
    first_cycle_in_run: CycleCount | None = None
    last_cycle_in_run: CycleCount | None = None


class NewCorrection(_Read, frozen=True, kw_only=True):
    """
    Rows that were written under one unit belong to another.

    `written` is the unit as the files name it, always: of several corrections that speak of
    the same rows the newest holds, and one that names the same unit twice takes earlier ones
    back. Without serials every unit of a lot keeps its serial in the other lot.
    """

    correction_key: Key
    written: NamedUnit
    belongs_to: NamedUnit
    meaning: Name
    reason: Why
    scope: CorrectionScope = CorrectionScope()


class LifeStanding(Struct, frozen=True, kw_only=True):
    """A unit's life at one moment."""

    ending: Ending
    counted_cycles: int
    credited_cycles: int
    failed: bool


class UnitEffect(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    What a change did to one unit.

    `before` is left out where the unit was not known before; `after` where no row, no life,
    no record and no sample list names it any more.
    """

    unit_id: str
    unit_serial: str
    before: LifeStanding | UnsetType = UNSET
    after: LifeStanding | UnsetType = UNSET


class LotEffect(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    What a change did to one lot.

    `decisions_withdrawn` are recorded ACCEPTs that rested on rows which the change touched:
    they stay as they were signed and are marked WITHDRAWN_BY_CORRECTION.
    """

    lot_id: str
    lot_number: str
    before: VerdictStanding
    after: VerdictStanding
    units: list[UnitEffect]
    decisions_withdrawn: list[str] = []


class Withdrawal(Struct, frozen=True, kw_only=True):
    """An upload whose rows count no more. Rows, receipt and original are kept."""

    upload_id: str
    sha256: str
    meaning: str
    reason: str
    withdrawn_at: datetime
    withdrawn_by: str
    actor_kind: Literal["PERSON"]
    lots: list[LotEffect]


class Correction(Struct, frozen=True, kw_only=True):
    """A recorded correction and what it changed when it was signed."""

    correction: NewCorrection
    recorded_at: datetime
    recorded_by: str
    actor_kind: Literal["PERSON"]
    lots: list[LotEffect]


class LotChange(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A withdrawal or a correction that touched a lot, for those who read about the lot."""

    kind: Literal["UPLOAD_WITHDRAWN", "SERIAL_CORRECTED"]
    meaning: str
    reason: str
    signed_at: datetime
    signed_by: str
    effect: LotEffect
    upload_id: str | UnsetType = UNSET
    correction_key: str | UnsetType = UNSET
    written: NamedUnit | UnsetType = UNSET
    belongs_to: NamedUnit | UnsetType = UNSET
