"""Blocks of counted cycles of a stretch: what the trend of a unit and leak onset are read from."""

from datetime import datetime

from msgspec import Struct


class BlockFigures(Struct, frozen=True, kw_only=True):
    """
    Blocks of one stretch and lap in order, by columns of one length.

    A block holds `block_cycles` counted cycles, the last one what is left of them. It lies
    from `first_cycle_in_run` to `last_cycle_in_run`, which count. `missing_cycles` counters
    lack between it and the block before it, or the beginning of the run, or inside it; of
    the last block also those after it.
    `decays` of its counted cycles tell their pressure decay, of which `pressure_decay_mpa` is
    the median; `fluid_temperature_c` is the mean of those that tell it. None: none tells it.
    Where details were asked for, peak and rise time are medians of the counted cycles.
    """

    block_cycles: int
    counted_cycles: list[int] = []
    missing_cycles: list[int] = []
    first_cycle_in_run: list[int] = []
    last_cycle_in_run: list[int] = []
    decays: list[int] = []
    pressure_decay_mpa: list[float | None] = []
    fluid_temperature_c: list[float | None] = []
    sensor_id: list[str | None] = []
    first_started_at: list[datetime] = []
    pressure_peak_mpa: list[float | None] = []
    rise_time_s: list[float | None] = []
