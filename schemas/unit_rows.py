"""Raw logged cycles of one unit, as the rig wrote them and the store keeps them."""

from datetime import datetime

from msgspec import UNSET, Struct, UnsetType


class LoggedCycle(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One row of an uploaded cycle table, in MPa, seconds and degrees Celsius.

    A field is absent where the file had no such column or the cell was not recorded.
    `conflicting` marks a row whose identity was stored before with other values: both
    are kept, and the one stored first counts until somebody decides.
    """

    upload_id: str
    rig_id: str
    station_no: int
    run_id: str
    cycle_in_run: int
    started_at: datetime
    pressure_peak_mpa: float
    pressure_dwell_start_mpa: float | UnsetType = UNSET
    pressure_dwell_end_mpa: float | UnsetType = UNSET
    pressure_set_mpa: float | UnsetType = UNSET
    pressure_low_mpa: float | UnsetType = UNSET
    pressure_supply_mpa: float | UnsetType = UNSET
    rise_time_s: float | UnsetType = UNSET
    dwell_time_s: float | UnsetType = UNSET
    rest_time_s: float | UnsetType = UNSET
    fluid_temperature_c: float | UnsetType = UNSET
    unit_temperature_c: float | UnsetType = UNSET
    station_mode: str | UnsetType = UNSET
    stop_reason: str | UnsetType = UNSET
    sensor_id: str | UnsetType = UNSET
    calibration_id: str | UnsetType = UNSET
    station_cycle_total: int | UnsetType = UNSET
    logged_every: int | UnsetType = UNSET
    conflicting: bool = False


RowPlace = tuple[int, int, int, int, int]
"""Start (microseconds), stretch, counter, 1 for a conflicting row, upload: a total order."""

FIRST_PLACE: RowPlace = (-(2**62), 0, 0, 0, 0)


class PlacedCycle(Struct, frozen=True, kw_only=True):
    """A row and its place in the list."""

    place: RowPlace
    cycle: LoggedCycle


class StartRange(Struct, frozen=True, kw_only=True):
    """Cycles that started at `from_at` or later and before `to_at`; None leaves an end open."""

    from_at: datetime | None
    to_at: datetime | None
