"""What calibrations that are in force do to the readings of a sensor."""

from datetime import datetime

from msgspec import Struct

from schemas.calibrations import Calibration

NO_SENSOR_KEY = -1
"""Stands for the sensor of rows that name none: the one that the rig's settings name."""


class RecordInForce(Struct, frozen=True, kw_only=True):
    """A calibration and a time, `from_at` until before `to_at`, in which no newer one holds."""

    calibration: Calibration
    from_at: datetime
    to_at: datetime


class SensorCorrection(Struct, frozen=True, kw_only=True):
    """
    Readings of a sensor that are not true pressures: true = (reading - `offset_mpa`) / `gain`.

    It holds from `from_at` until before `to_at`, UTC. `gain` 1 with `offset_mpa` 0 is none.
    """

    sensor_id: str
    from_at: datetime
    to_at: datetime
    gain: float
    offset_mpa: float


class RowCorrection(Struct, frozen=True, kw_only=True):
    """
    Rows of one stretch whose readings were off, and by how much.

    `sensor_key` is the store's key of the sensor that the rows name. The rows started from
    `from_at` until before `to_at`, UTC without a zone, as rows are stored.
    """

    stretch_key: int
    sensor_key: int
    sensor_id: str
    from_at: datetime
    to_at: datetime
    gain: float
    offset_mpa: float
