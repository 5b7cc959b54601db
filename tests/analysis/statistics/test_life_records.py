"""Folding lives: nothing is lost, nothing wrong is taken."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import life_records, lives_with_run_outs

LIFE = st.tuples(st.integers(1, 5), st.booleans())


@given(st.lists(LIFE, max_size=30))
def test_folding_keeps_every_unit_and_no_pair_twice(lives: list[tuple[int, bool]]) -> None:
    records = lives_with_run_outs(
        [float(cycles) for cycles, _ in lives], np.array([f for _, f in lives], dtype=bool)
    )
    assert records.unit_count == len(lives)
    assert records.failure_count == sum(failed for _, failed in lives)
    pairs = list(zip(records.low_cycles, records.high_cycles, strict=True))
    assert len(set(pairs)) == len(pairs) == len(set(lives))
    assert pairs == sorted(pairs)


def test_a_unit_that_never_started_says_nothing() -> None:
    assert life_records([0, 5], [math.inf, math.inf]).unit_count == 1


def test_a_unit_found_failed_at_its_first_inspection_is_a_bracket_from_zero() -> None:
    records = life_records([0], [500])
    assert (records.failure_count, records.has_brackets) == (1, True)


@pytest.mark.parametrize(
    ("low", "high"),
    [([5], [4]), ([0], [0]), ([1], [math.nan]), ([1, 2], [3]), ([-1], [2]), ([math.inf], [2])],
)
def test_impossible_ends_are_refused(low: list[float], high: list[float]) -> None:
    with pytest.raises(OutsideDomainError):
        life_records(low, high)


def test_words_are_no_ends() -> None:
    with pytest.raises(OutsideDomainError, match="high_cycles"):
        life_records([1], ["never"])
