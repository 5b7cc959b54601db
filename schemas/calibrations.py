"""Calibrations of pressure sensors: what a check found, for which time, and what it touches."""

from datetime import datetime
from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.decisions import DecisionMark, Verdict
from schemas.dispositions import VerdictStanding, Why
from schemas.quantities import Instant, Key, Name, Text

Gain = Annotated[
    float,
    Meta(
        ge=0.5,
        le=2,
        description="Shown change for a true change of 1; beyond a factor of two it is broken.",
    ),
]
OffsetMpa = Annotated[float, Meta(ge=-100, le=100, description="Shown pressure at true zero.")]
UncertaintyMpa = Annotated[
    float, Meta(gt=0, le=100, description="Expanded uncertainty of the sensor, MPa.")
]
NoticeCode = Literal["READS_LOW", "STATION_HAS_SEVERAL_SENSORS"]
"""READS_LOW: the true pressure was above the shown one, the dangerous direction."""


class NewCalibration(
    Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True
):
    """
    What a check of a sensor found, for every reading from `from_at` until before `to_at`.

    True pressure = (reading - `offset_mpa`) / `gain`, for every pressure that the sensor
    read. Gain 1 and offset 0 is a good check. Of two records of a sensor the newer one
    holds where they overlap; the older one stays on record. `pressure_uncertainty_mpa` is
    the expanded uncertainty of the sensor in that time.
    """

    calibration_key: Key
    sensor_id: Name
    from_at: Instant
    to_at: Instant
    gain: Gain
    offset_mpa: OffsetMpa
    found_at: Instant
    reason: Why
    pressure_uncertainty_mpa: UncertaintyMpa | None = None
    note: Text | None = None


class Calibration(Struct, frozen=True, kw_only=True):
    """A recorded calibration. Never edited; a later record supersedes where they overlap."""

    calibration_id: str
    calibration: NewCalibration
    recorded_at: datetime
    recorded_by: str


class CalibrationNotice(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    Something to act on at once.

    READS_LOW says how high the pressure truly was where the sensor showed `shown_mpa`.
    """

    code: NoticeCode
    shown_mpa: float | UnsetType = UNSET
    true_mpa: float | UnsetType = UNSET


class TouchedUnit(Struct, frozen=True, kw_only=True):
    """
    A unit with rows that the sensor read in the time of the record.

    `touched_cycles` are those rows. Counts, ending and credit are the unit's, without the
    record and with it, as its lot stands now.
    """

    unit_id: str
    unit_serial: str
    touched_cycles: int
    counted_cycles_before: int
    counted_cycles_after: int
    ending_before: str
    ending_after: str


class TouchedDecision(Struct, frozen=True, kw_only=True):
    """A verdict that was recorded before the calibration was, and how it stands now."""

    decision_id: str
    verdict: Verdict
    decided_at: datetime
    decided_by: str
    decision_outdated: bool
    marks: list[DecisionMark]


class TouchedLot(Struct, frozen=True, kw_only=True):
    """A lot that the record touches: its units, the verdict without and with it, decisions."""

    lot_id: str
    lot_number: str
    units: list[TouchedUnit]
    before: VerdictStanding
    after: VerdictStanding
    decisions: list[TouchedDecision]


class CalibrationReport(Struct, frozen=True, kw_only=True):
    """
    A calibration with all that it touches: worked out from the facts as they stand now.

    `supersedes` names earlier records of the sensor that it replaces in part or in whole,
    `superseded_by` later ones. `lots` is the look-back, by lot number.
    """

    calibration_id: str
    calibration: NewCalibration
    recorded_at: datetime
    recorded_by: str
    notices: list[CalibrationNotice]
    supersedes: list[str]
    superseded_by: list[str]
    lots: list[TouchedLot]
