"""A station whose readings moved away from those of its neighbours."""

from datetime import datetime
from typing import Literal

from msgspec import UNSET, Struct, UnsetType

DriftingQuantity = Literal["pressure_peak_mpa", "pressure_low_mpa"]


class StationDrift(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    A finding: what a station reads changed against its neighbours on the same supply.

    `drift_mpa` is the largest change, with its sign, of `quantity` against the
    station's own beginning at `began_at`; it was beyond `limit_mpa` from `from_at` to
    `to_at`. `counted_cycles` were counted on the station in that time. What changed in
    pressure decay and rise time over the same hours stands beside it: these are the
    unit's too.
    """

    rig_id: str
    station_no: int
    quantity: DriftingQuantity
    drift_mpa: float
    limit_mpa: float
    began_at: datetime
    from_at: datetime
    to_at: datetime
    neighbours: list[int]
    counted_cycles: int
    decay_change_mpa: float | UnsetType = UNSET
    rise_time_change_s: float | UnsetType = UNSET
