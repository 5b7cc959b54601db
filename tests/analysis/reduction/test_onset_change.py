"""The sum over blocks against its recursion, and the bracket's ends on lines made by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.reduction.onset_change import alarm_sum, first_change

MIDDLE = 100 * np.arange(60) + 50.5


def test_the_sum_is_that_of_the_recursion_it_is_defined_by() -> None:
    rng = np.random.default_rng(5)
    for _ in range(50):
        excess = rng.normal(0.01, 0.02, 200)
        total, wanted = 0.0, []
        for value in excess:
            total = max(0.0, total + value - 0.015)
            wanted.append(total)
        assert alarm_sum(excess, 0.015) == pytest.approx(wanted, abs=1e-12)


def change_of(excess: np.ndarray):  # type: ignore[no-untyped-def]
    return first_change(
        MIDDLE[: excess.size], excess, dead_band_mpa=0.015, alarm_mpa=0.05, least_rise_mpa=0.008
    )


def test_a_straight_line_is_found_with_its_slope_and_its_beginning() -> None:
    # 0.01 MPa per block from cycle 2,000: blocks of middle 2,150.5 and later lie over 0.015;
    # excess over it 0.00005, 0.01005, 0.02005, 0.03005: the sum reaches 0.05 at the fourth.
    change = change_of(1e-4 * np.maximum(MIDDLE - 2_000, 0))
    assert change is not None
    assert (change.clean, change.established, change.alarm) == (20, 22, 24)
    assert change.alarm_sum_mpa == pytest.approx(0.0602, abs=1e-9)
    assert change.growth.slope_mpa == pytest.approx(1e-4, rel=1e-9)
    assert change.growth.zero_at == pytest.approx(2_000, abs=1e-6)
    assert change.growth.zero_error == pytest.approx(0, abs=1e-6)


def test_one_block_alone_never_gives_an_alarm() -> None:
    excess = np.zeros(40)
    excess[20] = 1.0
    assert change_of(excess) is None


def test_a_level_just_over_the_dead_band_is_no_growth_however_long_it_stays() -> None:
    excess = np.where(np.arange(60) < 10, 0.0, 0.018)
    assert alarm_sum(excess, 0.015)[-1] > 0.05
    assert change_of(excess) is None


def test_a_leak_that_comes_and_goes_is_traced_back_over_its_first_short_spell() -> None:
    # 0.002 MPa per block from cycle 1,000, shown in blocks 10 to 19 and from 30 on only.
    excess = 2e-5 * np.maximum(MIDDLE - 1_000, 0)
    excess[20:30] = 0.0
    change = change_of(excess)
    assert change is not None
    assert change.clean == 29
    assert change.growth.zero_at == pytest.approx(1_000, abs=1)


def test_a_rise_that_is_no_line_takes_the_slope_from_the_clean_block_to_the_alarm() -> None:
    change = change_of(np.where(np.arange(14) < 10, 0.0, 0.05))
    assert change is not None
    assert (change.clean, change.alarm) == (9, 11)
    assert change.growth.slope_mpa == pytest.approx(0.05 / 200)
    assert change.growth.zero_at == pytest.approx(MIDDLE[9])


def test_a_series_that_begins_over_the_dead_band_has_no_clean_block() -> None:
    change = change_of(np.full(5, 0.2))
    assert change is not None
    assert (change.clean, change.established, change.alarm) == (-1, 1, 1)


@given(slope=st.floats(1e-3, 0.1), begin=st.floats(500, 3_000))
def test_the_line_meets_the_baseline_where_growth_began(slope: float, begin: float) -> None:
    change = change_of(slope / 100 * np.maximum(MIDDLE - begin, 0))
    assert change is not None
    assert MIDDLE[change.clean] - 0.015 / (slope / 100) <= begin + 1e-6
    assert MIDDLE[change.established] > begin
    # The block in which growth begins may hold part of it only; the line is still close.
    assert change.growth.zero_at == pytest.approx(begin, abs=100)
