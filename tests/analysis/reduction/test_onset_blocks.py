"""Which blocks are read: past the mask, long enough, with a median, in order."""

import numpy as np
import pytest
from blocks_by_hand import RULES, stretch_of
from msgspec import structs

from analysis.errors import OutsideDomainError
from analysis.reduction.onset_blocks import blocks_to_read, check_rules


def test_blocks_that_begin_within_the_mask_are_left_out() -> None:
    blocks = blocks_to_read([stretch_of(np.full(6, 0.06), since_start=1)], RULES)
    # Blocks begin 1, 101, 201, 301, ... cycles after the start; 300 are masked.
    assert blocks.first_counted.tolist() == [301, 401, 501]
    assert blocks.left_out == 3


def test_a_block_with_less_than_half_of_its_cycles_is_left_out() -> None:
    stretch = structs.replace(stretch_of(np.full(3, 0.06)), cycles=np.array([100, 50, 49]))
    assert blocks_to_read([stretch], RULES).first_counted.tolist() == [1, 101]


def test_a_block_without_a_median_is_left_out() -> None:
    blocks = blocks_to_read([stretch_of([0.06, np.nan, 0.07])], RULES)
    assert blocks.decay_mpa.tolist() == [0.06, 0.07]


def test_places_are_numbered_as_they_come_and_every_stay_counts() -> None:
    stays = [("RIG-A/1", 0), ("RIG-A/1", 200), ("RIG-B/4", 400), ("RIG-A/1", 600)]
    blocks = blocks_to_read(
        [stretch_of([0.06, 0.06], place=place, counted_before=at) for place, at in stays], RULES
    )
    assert blocks.place_names == ("RIG-A/1", "RIG-B/4")
    assert blocks.place.tolist() == [0, 0, 0, 0, 1, 1, 0, 0]
    assert blocks.visit.tolist() == [0, 0, 0, 0, 1, 1, 2, 2]


def test_a_median_belongs_to_the_middle_of_its_block() -> None:
    assert blocks_to_read([stretch_of([0.06, 0.06])], RULES).middle.tolist() == [50.5, 150.5]


def test_no_stretch_and_empty_stretches_give_no_blocks() -> None:
    assert blocks_to_read([], RULES).place.size == 0
    assert blocks_to_read([stretch_of([]), stretch_of([])], RULES).place.size == 0


def test_counted_cycles_that_go_back_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="increasing order"):
        blocks_to_read([stretch_of([0.06, 0.06]), stretch_of([0.06])], RULES)


def test_columns_of_different_length_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="one length"):
        blocks_to_read([structs.replace(stretch_of([0.06]), cycles=np.array([100, 100]))], RULES)


def test_an_infinite_median_is_refused() -> None:
    with pytest.raises(OutsideDomainError, match="decay_mpa"):
        blocks_to_read([stretch_of([np.inf])], RULES)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("block_cycles", 0),
        ("baseline_blocks", 0),
        ("break_in_blocks", -1),
        ("masked_cycles", -1),
        ("dead_band_mpa", 0.0),
        ("alarm_mpa", float("nan")),
        ("station_step_mpa", -0.01),
        ("sensor_step_mpa", -0.004),
    ],
)
def test_rules_out_of_their_range_are_refused(name: str, value: float) -> None:
    with pytest.raises(OutsideDomainError, match=name):
        check_rules(structs.replace(RULES, **{name: value}))
