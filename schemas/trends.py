"""The trend of one unit: its blocks of counted cycles, as they are or a few at a time."""

from datetime import datetime
from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.onsets import OnsetFinding
from schemas.specs import SpecReference

TrendPoints = Annotated[
    int, Meta(ge=1, le=20_000, description="Most points to give; fewer blocks are given as such.")
]


class Spread(Struct, frozen=True, kw_only=True):
    """Lowest, median and highest of some blocks; one block has the same value three times."""

    lowest: float
    median: float
    highest: float


class TrendPlace(Struct, frozen=True, kw_only=True):
    """A counted cycle: where and when it ran."""

    rig_id: str
    station_no: int
    run_id: str
    lap: int
    cycle_in_run: int


class TrendPoint(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One block of counted cycles, or several one after another.

    A block's own figures are medians of its counted cycles, of temperature their mean.
    `left_out_count` of the blocks are not read for leak onset: they begin too soon after a
    start, or are cut short by the end of their stretch. Their decay stands apart, in
    `left_out_decay_mpa`. A figure is absent where no block tells it.
    """

    first_counted: int
    last_counted: int
    block_count: int
    left_out_count: int
    started_at: datetime
    first: TrendPlace
    last: TrendPlace
    pressure_decay_mpa: Spread | UnsetType = UNSET
    left_out_decay_mpa: Spread | UnsetType = UNSET
    pressure_peak_mpa: Spread | UnsetType = UNSET
    rise_time_s: Spread | UnsetType = UNSET
    fluid_temperature_c: Spread | UnsetType = UNSET


class UnitTrend(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    Trend of a unit along its counted cycles, with what is known of leak onset.

    Blocks hold `block_cycles` counted cycles and end with their stretch. `onset` is that of
    the unit's life, up to its ending; it is absent where the specification asks for no
    search. So are the limits that it does not state.
    """

    unit_id: str
    lot_number: str
    unit_serial: str
    reduction_version: int
    block_cycles: int
    block_count: int
    points: list[TrendPoint]
    decay_limit_mpa: float | UnsetType = UNSET
    dead_band_mpa: float | UnsetType = UNSET
    mask_after_start_cycles: int | UnsetType = UNSET
    onset: OnsetFinding | UnsetType = UNSET
    spec: SpecReference | UnsetType = UNSET
