"""A unit's blocks as points of its trend, a few blocks to a point where fewer are wanted."""

import statistics
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

import numpy as np
from msgspec import UNSET, Struct, UnsetType

from analysis.reduction.blocks import NumberedBlocks
from analysis.reduction.onset_blocks import is_read
from schemas.trends import Spread, TrendPlace, TrendPoint


class _Block(Struct, frozen=True, kw_only=True):
    """One block, with what is told of it."""

    first_counted: int
    last_counted: int
    started_at: datetime
    first: TrendPlace
    last: TrendPlace
    is_read: bool
    decay_mpa: float | None
    peak_mpa: float | None
    rise_time_s: float | None
    temperature_c: float | None


def trend_points(
    blocks: Sequence[NumberedBlocks], *, masked_cycles: int, most: int | None = None
) -> list[TrendPoint]:
    """
    Points of a unit's trend.

    Parameters
    ----------
    blocks : sequence of NumberedBlocks
        The unit's blocks in order, with their details.
    masked_cycles : int, >= 0, keyword only
        Commanded cycles after a start within which a block that begins there is left out.
    most : int, >= 1, optional, keyword only
        Most points to give; without it every block is one.

    Returns
    -------
    list of TrendPoint
        As many blocks to each as it takes. The lowest and the highest of them are kept, so
        that no excursion is lost.
    """
    single = [block for each in blocks for block in _single(each, masked_cycles)]
    size = 1 if most is None else -(-len(single) // most)
    return [_point(single[first : first + size]) for first in range(0, len(single), max(size, 1))]


def _single(blocks: NumberedBlocks, masked_cycles: int) -> Iterator[_Block]:
    figures, stretch = blocks.figures, blocks.stretch
    read = is_read(
        np.asarray(figures.decays),
        blocks.commanded,
        np.array(figures.pressure_decay_mpa, dtype=float),
        block_cycles=figures.block_cycles,
        masked_cycles=masked_cycles,
    )

    def place(cycle_in_run: int) -> TrendPlace:
        return TrendPlace(
            rig_id=stretch.rig_id,
            station_no=stretch.station_no,
            run_id=stretch.run_id,
            lap=stretch.lap,
            cycle_in_run=cycle_in_run,
        )

    for n in range(len(figures.counted_cycles)):
        yield _Block(
            first_counted=int(blocks.first_counted[n]),
            last_counted=int(blocks.last_counted[n]),
            started_at=figures.first_started_at[n].replace(tzinfo=UTC),
            first=place(figures.first_cycle_in_run[n]),
            last=place(figures.last_cycle_in_run[n]),
            is_read=bool(read[n]),
            decay_mpa=figures.pressure_decay_mpa[n],
            peak_mpa=figures.pressure_peak_mpa[n],
            rise_time_s=figures.rise_time_s[n],
            temperature_c=figures.fluid_temperature_c[n],
        )


def _point(blocks: Sequence[_Block]) -> TrendPoint:
    return TrendPoint(
        first_counted=blocks[0].first_counted,
        last_counted=blocks[-1].last_counted,
        block_count=len(blocks),
        left_out_count=sum(not block.is_read for block in blocks),
        started_at=blocks[0].started_at,
        first=blocks[0].first,
        last=blocks[-1].last,
        pressure_decay_mpa=_spread([block.decay_mpa for block in blocks if block.is_read]),
        left_out_decay_mpa=_spread([block.decay_mpa for block in blocks if not block.is_read]),
        pressure_peak_mpa=_spread([block.peak_mpa for block in blocks]),
        rise_time_s=_spread([block.rise_time_s for block in blocks]),
        fluid_temperature_c=_spread([block.temperature_c for block in blocks]),
    )


def _spread(values: Sequence[float | None]) -> Spread | UnsetType:
    told = [value for value in values if value is not None]
    if not told:
        return UNSET
    return Spread(lowest=min(told), median=statistics.median(told), highest=max(told))
