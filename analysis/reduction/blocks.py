"""Blocks of counted cycles: folded from stage one, and numbered along a unit's life."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any

import numpy as np
from msgspec import Struct

from analysis.reduction.onset_blocks import IntArray, StretchBlocks
from schemas.blocks import BlockFigures
from schemas.stretches import StretchSummary

STANDARD_BLOCK_CYCLES = 100
"""Counted cycles of a block where the specification asks for no search of leak onset."""


class NumberedBlocks(Struct, frozen=True, kw_only=True, eq=False):
    """
    Blocks of one stretch of a unit, as arrays of one length.

    `first_counted` and `last_counted` number their ends among the unit's counted cycles,
    `last_logged` the last one among its logged cycles, `commanded` the first one among the
    commanded cycles since the run began. `missing` counters lack between a block and the one
    before it, or inside it; those that declared thinning left out do not lack.
    """

    stretch: StretchSummary
    figures: BlockFigures
    first_counted: IntArray
    last_counted: IntArray
    last_logged: IntArray
    commanded: IntArray
    missing: IntArray


def fold_blocks(
    rows: Iterable[tuple[Any, ...]],
    texts: Mapping[int, str],
    *,
    block_cycles: int,
    with_details: bool,
) -> dict[tuple[int, int], BlockFigures]:
    """
    Blocks by stretch and lap.

    Parameters
    ----------
    rows : iterable of tuple
        Result of the text `blocks`, in its order.
    texts : mapping of int to str
        The store's texts by key, for sensors.
    block_cycles : int, keyword only
        Counted cycles of a block.
    with_details : bool, keyword only
        Whether starts, peaks and rise times were asked for.

    Returns
    -------
    dict of (int, int) to BlockFigures
    """
    by_lap: dict[tuple[int, int], list[tuple[Any, ...]]] = defaultdict(list)
    for row in rows:
        by_lap[row[0], row[1]].append(row[2:])
    return {
        lap: _figures(blocks, texts, block_cycles=block_cycles, with_details=with_details)
        for lap, blocks in by_lap.items()
    }


def _figures(
    blocks: Sequence[tuple[Any, ...]],
    texts: Mapping[int, str],
    *,
    block_cycles: int,
    with_details: bool,
) -> BlockFigures:
    kept = [block for block in blocks if block[2]]
    if not kept:
        return BlockFigures(block_cycles=block_cycles)
    columns = [list(column) for column in zip(*kept, strict=True)]
    _, _, counted, _, _, first, last, started, sensors = columns[:9]
    return BlockFigures(
        block_cycles=block_cycles,
        counted_cycles=counted,
        missing_cycles=_missing(blocks, len(kept)),
        first_cycle_in_run=first,
        last_cycle_in_run=last,
        decays=columns[9],
        pressure_decay_mpa=columns[10],
        fluid_temperature_c=columns[11],
        sensor_id=[None if key is None else texts[key] for key in sensors],
        first_started_at=started if with_details else [],
        pressure_peak_mpa=columns[12] if with_details else [],
        rise_time_s=columns[13] if with_details else [],
    )


def _missing(blocks: Sequence[tuple[Any, ...]], kept: int) -> list[int]:
    """Counters that lack, block by block; those after the last counted cycle go to the last."""
    missing = []
    end_before = min(blocks[0][3], 1) - 1
    for _, logged, _, _, highest, *_ in blocks:
        missing.append(highest - end_before - logged)
        end_before = highest
    return [*missing[: kept - 1], sum(missing[kept - 1 :])]


def number_blocks(stretches: Sequence[StretchSummary]) -> list[NumberedBlocks]:
    """
    Blocks of a unit along its count of cycles.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches in order, with their blocks. One without any is passed over.

    Returns
    -------
    list of NumberedBlocks

    Notes
    -----
    The laps of a run go on from one another: a counter that was reset or wrapped starts
    no rig. Where logging was declared as thinned, the cycles without a row of their own
    lie where counters lack.
    """
    numbered = []
    counted, logged, lacking = 0, 0, 0
    commanded: dict[int, int] = defaultdict(int)
    for stretch in stretches:
        offset = commanded[stretch.stretch_key] + 1 - min(stretch.first_cycle_in_run, 1)
        if stretch.blocks is not None and stretch.blocks.counted_cycles:
            numbered.append(_numbered(stretch, stretch.blocks, (counted, logged, offset), lacking))
            lacking = 0
        else:
            lacking += stretch.unlogged_cycles
        counted += stretch.counted_cycles
        logged += stretch.logged_cycles
        commanded[stretch.stretch_key] = offset + stretch.last_cycle_in_run
    return numbered


def _numbered(
    stretch: StretchSummary, figures: BlockFigures, before: tuple[int, int, int], lacking: int
) -> NumberedBlocks:
    counted, logged, commanded = before
    rows = np.asarray(figures.counted_cycles, dtype=np.int64)
    last_in_run = np.asarray(figures.last_cycle_in_run, dtype=np.int64)
    no_row = np.asarray(figures.missing_cycles, dtype=np.int64)
    inferred = _inferred(no_row, stretch.counted_cycles - int(rows.sum()))
    last = counted + np.cumsum(rows + inferred)
    missing = np.maximum(no_row - inferred, 0)
    missing[0] += lacking
    return NumberedBlocks(
        stretch=stretch,
        figures=figures,
        first_counted=last - rows - inferred + 1,
        last_counted=last,
        last_logged=logged
        + np.minimum(
            last_in_run - min(stretch.first_cycle_in_run, 1) + 1 - np.cumsum(no_row),
            stretch.logged_cycles,
        ),
        commanded=commanded + np.asarray(figures.first_cycle_in_run, dtype=np.int64),
        missing=missing,
    )


def _inferred(no_row: IntArray, count: int) -> IntArray:
    """Cycles that count without a row, block by block: in proportion to counters that lack."""
    total = int(no_row.sum())
    if count <= 0 or total <= 0:
        return np.zeros_like(no_row)
    share = np.cumsum(no_row) * count // total
    return np.diff(share, prepend=0)


def to_search(blocks: Iterable[NumberedBlocks], up_to_counted: int) -> list[StretchBlocks]:
    """
    Blocks in the form in which leak onset is looked for.

    Parameters
    ----------
    blocks : iterable of NumberedBlocks
        The unit's blocks in order.
    up_to_counted : int
        Blocks that begin after this counted cycle are left out.

    Returns
    -------
    list of StretchBlocks
        One for each stay of a stretch on one sensor.
    """
    stays = []
    for each in blocks:
        kept = int(np.searchsorted(each.first_counted, up_to_counted, side="right"))
        sensors = each.figures.sensor_id[:kept]
        end = 0
        for sensor, group in groupby(sensors):
            first, end = end, end + len([*group])
            stays.append(_stay(each, sensor, slice(first, end)))
    return stays


def _stay(blocks: NumberedBlocks, sensor: str | None, part: slice) -> StretchBlocks:
    stretch, figures = blocks.stretch, blocks.figures
    place = f"{stretch.rig_id}/{stretch.station_no}"
    return StretchBlocks(
        place=place if sensor is None else f"{place}/{sensor}",
        first_counted=blocks.first_counted[part],
        last_counted=blocks.last_counted[part],
        cycles=np.asarray(figures.decays[part], dtype=np.int64),
        cycles_since_start=blocks.commanded[part],
        decay_mpa=np.array(figures.pressure_decay_mpa[part], dtype=float),
        temperature_c=np.array(figures.fluid_temperature_c[part], dtype=float),
    )
