"""Blocks along a unit's count of cycles: laps, thinned logging, missing rows, sensors."""

import numpy as np
from blocks_by_hand import figures_of, run_of
from msgspec import structs
from reduction_builders import stretch

from analysis.reduction.blocks import fold_blocks, number_blocks, to_search
from schemas.stretches import StretchSummary

FLAT = [0.06] * 3


def lap(number: int, first: int, *, key: int = 1) -> StretchSummary:
    """A lap of three blocks whose first counter is `first`."""
    return stretch(
        300,
        key=key,
        lap=number,
        first_cycle_in_run=first,
        last_cycle_in_run=first + 299,
        blocks=figures_of(FLAT, first_cycle_in_run=first),
    )


def test_blocks_are_numbered_along_the_life_and_not_along_the_run() -> None:
    first, second = number_blocks([run_of(FLAT, key=1), run_of(FLAT, key=2)])
    assert first.first_counted.tolist() == [1, 101, 201]
    assert second.last_counted.tolist() == [400, 500, 600]
    assert second.last_logged.tolist() == [400, 500, 600]
    assert second.commanded.tolist() == [1, 101, 201]


def test_a_reset_does_not_start_the_rig_again() -> None:
    _, second = number_blocks([lap(1, 1), lap(2, 1)])
    assert second.commanded.tolist() == [301, 401, 501]


def test_a_counter_that_wraps_to_0_or_1_goes_on() -> None:
    before = structs.replace(lap(1, 65_236), blocks=figures_of(FLAT, first_cycle_in_run=65_236))
    for first in (0, 1):
        _, after = number_blocks([before, lap(2, first)])
        # The cycle after number 65,535 is number 65,536 of the run.
        assert after.commanded.tolist() == [65_536, 65_636, 65_736]


def test_another_run_starts_the_rig() -> None:
    _, second = number_blocks([lap(1, 1, key=1), lap(1, 1, key=2)])
    assert second.commanded.tolist() == [1, 101, 201]


def test_rows_missing_before_the_first_counter_were_commanded() -> None:
    [only] = number_blocks([lap(1, 501)])
    assert only.commanded.tolist() == [501, 601, 701]
    assert only.first_counted.tolist() == [1, 101, 201]


def test_cycles_between_thinned_rows_count_where_counters_lack() -> None:
    """Every tenth cycle has a row: 300 rows stand for 3,000 counted cycles."""
    figures = structs.replace(
        figures_of(FLAT),
        first_cycle_in_run=[10, 1_010, 2_010],
        last_cycle_in_run=[1_000, 2_000, 3_000],
        missing_cycles=[900, 900, 900],
    )
    thinned = structs.replace(stretch(3_000, logged_cycles=300, unlogged_cycles=0), blocks=figures)
    [only] = number_blocks([thinned])
    assert only.last_counted.tolist() == [1_000, 2_000, 3_000]
    assert only.missing.tolist() == [0, 0, 0]


def test_counters_that_lack_in_a_stretch_without_a_counted_cycle_come_before_the_next() -> None:
    empty = stretch(0, key=2, not_counted={"MODE": 50}, missing=70)
    numbered = number_blocks([run_of(FLAT, key=1), empty, run_of(FLAT, key=3)])
    assert [each.missing.tolist() for each in numbered] == [[0, 0, 0], [70, 0, 0]]


def test_what_lacks_after_the_last_counted_cycle_goes_to_the_last_block() -> None:
    # lap, block, logged, counted, lowest, highest, first, last, started, sensor, decays, ...
    whole = (7, 1, 0, 100, 100, 1, 100, 1, 100, None, None, 100, 0.06, 45.0, None, None)
    after = (7, 1, 1, 20, 0, 121, 140, None, None, None, None, 0, None, None, None, None)
    found = fold_blocks([whole, after], {}, block_cycles=100, with_details=False)
    assert found[7, 1].counted_cycles == [100]
    assert found[7, 1].missing_cycles == [20]


def test_a_sensor_that_was_changed_is_another_place() -> None:
    figures = structs.replace(figures_of(FLAT), sensor_id=["PT-1", "PT-1", "PT-2"])
    stays = to_search(number_blocks([structs.replace(stretch(300), blocks=figures)]), 300)
    assert [each.place for each in stays] == ["RIG-A/1/PT-1", "RIG-A/1/PT-2"]
    assert [each.first_counted.tolist() for each in stays] == [[1, 101], [201]]


def test_blocks_that_begin_after_the_end_of_the_life_are_left_out() -> None:
    blocks = number_blocks([run_of(FLAT, key=1), run_of(FLAT, key=2)])
    [first, second] = to_search(blocks, 401)
    assert (first.first_counted.size, second.first_counted.tolist()) == (3, [301, 401])
    assert len(to_search(blocks, 300)) == 1


def test_a_block_without_a_median_is_nan_in_the_search() -> None:
    figures = structs.replace(figures_of(FLAT), pressure_decay_mpa=[0.06, None, 0.06])
    [stay] = to_search(number_blocks([structs.replace(stretch(300), blocks=figures)]), 300)
    assert np.isnan(stay.decay_mpa).tolist() == [False, True, False]
