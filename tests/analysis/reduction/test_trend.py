"""Points of a unit's trend: single blocks, and several to a point."""

import statistics
from datetime import UTC

import numpy as np
from blocks_by_hand import figures_of
from msgspec import UNSET, structs
from reduction_builders import FIRST_START, stretch

from analysis.reduction.blocks import NumberedBlocks, number_blocks
from analysis.reduction.trend import trend_points

RNG = np.random.default_rng(11)
DECAY = [float(each) for each in RNG.normal(0.06, 0.01, 23)]


def numbered(decay: list[float | None], *, key: int = 1) -> list[NumberedBlocks]:
    count = len(decay)
    known = [0.06 if each is None else each for each in decay]
    figures = structs.replace(
        figures_of(known),
        pressure_decay_mpa=decay,
        first_started_at=[FIRST_START] * count,
        pressure_peak_mpa=[33.0 + 0.01 * n for n in range(count)],
        rise_time_s=[None] * count,
    )
    return number_blocks([structs.replace(stretch(100 * count, key=key), blocks=figures)])


def test_every_block_is_a_point_where_no_number_is_asked() -> None:
    points = trend_points(numbered([*DECAY]), masked_cycles=0)
    assert [each.pressure_decay_mpa.median for each in points] == DECAY  # type: ignore[union-attr]
    assert [each.block_count for each in points] == [1] * 23
    assert points[0].started_at == FIRST_START.replace(tzinfo=UTC)
    assert points[4].first.cycle_in_run == points[4].first_counted == 401
    assert points[4].rise_time_s is UNSET


def test_fewer_points_keep_lowest_median_and_highest() -> None:
    points = trend_points(numbered([*DECAY]), masked_cycles=0, most=5)
    assert [each.block_count for each in points] == [5, 5, 5, 5, 3]
    for number, each in enumerate(points):
        part = DECAY[5 * number : 5 * number + 5]
        told = each.pressure_decay_mpa
        assert told is not UNSET
        assert (told.lowest, told.highest) == (min(part), max(part))
        assert told.median == statistics.median(part)
    assert points[1].first_counted == points[0].last_counted + 1


def test_more_points_than_blocks_change_nothing() -> None:
    blocks = numbered([*DECAY])
    assert trend_points(blocks, masked_cycles=0, most=999) == trend_points(blocks, masked_cycles=0)


def test_blocks_left_out_stand_apart() -> None:
    points = trend_points(numbered([*DECAY]), masked_cycles=300, most=5)
    first = points[0]
    assert (first.block_count, first.left_out_count) == (5, 3)
    assert first.left_out_decay_mpa.lowest == min(DECAY[:3])  # type: ignore[union-attr]
    assert first.pressure_decay_mpa.lowest == min(DECAY[3:5])  # type: ignore[union-attr]
    assert points[1].left_out_decay_mpa is UNSET


def test_a_block_without_a_decay_is_left_out_and_tells_none() -> None:
    [only] = trend_points(numbered([None]), masked_cycles=0)
    assert only.left_out_count == 1
    assert only.pressure_decay_mpa is UNSET
    assert only.left_out_decay_mpa is UNSET
    assert only.pressure_peak_mpa is not UNSET


def test_a_unit_without_rows_has_no_point() -> None:
    assert trend_points([], masked_cycles=0, most=10) == []
