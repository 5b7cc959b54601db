"""Items that no rule decides: each states two alternatives, best and worst."""

from datetime import datetime
from typing import Literal

from msgspec import UNSET, Struct, UnsetType

HoldCode = Literal[
    "CONFLICTING_ROWS",
    "ORDER_AMBIGUOUS",
    "IDENTITY_CONFLICT",
    "UNEXPLAINED_STOP",
    "UNIT_SUSPECT_UNCONFIRMED",
    "LOW_FLUID_UNINSPECTED",
    "CANNOT_BUILD_UNCLEAR",
    "UNDER_PRESSURE_SHARE",
    "OVER_PRESSURE",
    "PEAK_CLIPPED",
    "CONDITION_NOT_RECORDED",
    "REMOVED_ON_SUSPICION",
    "POSSIBLE_SWAP",
    "NOT_IN_SAMPLE",
    "LIFE_SOURCE_CONFLICT",
    "INSPECTION_OVERDUE",
    "UNIT_OVERDUE",
    "CALIBRATION_FOUND_OUT",
    "ONSET_NOT_JUDGED",
    "UNCERTAINTY_NOT_RECORDED",
]


class HoldEvidence(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    Where in the rows a hold comes from, and the figures that raised it.

    `measured` and `limit` are values of `quantity`, which ends in its unit or is a
    share; `other_lot_number` and `other_unit_serial` name the unit that was in the
    same place from `from_at` to `to_at`. A sensor that was off showed true pressure times
    `gain` plus `offset_mpa`.
    """

    rig_id: str | UnsetType = UNSET
    run_id: str | UnsetType = UNSET
    station_no: int | UnsetType = UNSET
    from_cycle_in_run: int | UnsetType = UNSET
    to_cycle_in_run: int | UnsetType = UNSET
    cycles: int | UnsetType = UNSET
    raw_code: str | UnsetType = UNSET
    quantity: str | UnsetType = UNSET
    measured: float | UnsetType = UNSET
    limit: float | UnsetType = UNSET
    other_lot_number: str | UnsetType = UNSET
    other_unit_serial: str | UnsetType = UNSET
    from_at: datetime | UnsetType = UNSET
    to_at: datetime | UnsetType = UNSET
    sensor_id: str | UnsetType = UNSET
    gain: float | UnsetType = UNSET
    offset_mpa: float | UnsetType = UNSET


class Alternative(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    What a unit's life would be under one way of deciding a hold.

    `ending` is the ending it would have; `credited_cycles` what it would be
    credited before any cap of the plan.
    """

    ending: str
    credited_cycles: int
    failed: bool


HoldChoice = Literal["BEST", "WORST"]
"""Which of the two alternatives of a hold a person signed for."""


class HoldAnswer(Struct, frozen=True, kw_only=True):
    """A signed answer to a hold: what was chosen, by whom, when, and why."""

    choice: HoldChoice
    meaning: str
    reason: str
    signed_at: datetime
    signed_by: str


class Hold(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    A question about a unit (or about the lot, where no unit can be named).

    `hold_id` names the question with what stands behind it: when its evidence changes,
    it is another hold. `answer` stands on a decided hold only; the unit's life then
    takes the alternative chosen.
    """

    hold_id: str
    name: HoldCode
    evidence: list[HoldEvidence]
    best: Alternative
    worst: Alternative
    lot_number: str | UnsetType = UNSET
    unit_id: str | UnsetType = UNSET
    unit_serial: str | UnsetType = UNSET
    answer: HoldAnswer | UnsetType = UNSET
