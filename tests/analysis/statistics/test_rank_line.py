"""References: scipy.stats.linregress on the same points, points made to lie on a line."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import life_records, lives_with_run_outs
from analysis.statistics.rank_line import rank_line
from schemas.estimates import NotEstimable
from schemas.ranks import RankLine, Regressed

BOTH: tuple[Regressed, Regressed] = ("CYCLES_ON_POSITION", "POSITION_ON_CYCLES")
LOT = st.lists(st.tuples(st.integers(1, 10**7), st.booleans()), min_size=2, max_size=30)


def line(lives: Any, failed: Any, regressed: Regressed, rank_rule: Any = "MEDIAN") -> RankLine:
    records = lives_with_run_outs(lives, np.asarray(failed, dtype=bool))
    found = rank_line(records, regressed=regressed, rank_rule=rank_rule)
    assert isinstance(found, RankLine)
    return found


def split(lot: list[tuple[int, bool]]) -> tuple[list[float], list[bool]]:
    assume(len({life for life, failed in lot if failed}) > 1)
    return [float(life) for life, _ in lot], [failed for _, failed in lot]


@given(LOT, st.sampled_from(["MEDIAN", "BENARD"]))
@settings(max_examples=40, deadline=None)
def test_both_lines_are_those_of_ordinary_least_squares(lot: Any, rank_rule: Any) -> None:
    lives, failed = split(lot)
    found = line(lives, failed, "CYCLES_ON_POSITION", rank_rule)
    x = np.log(found.positions.life_cycles)
    y = np.log(-np.log(1.0 - np.array(found.positions.positions)))
    assume(np.ptp(x) > 1e-4)
    reference = stats.linregress(y, x)
    assume(abs(reference.intercept) < 600)
    assert found.shape == pytest.approx(1.0 / reference.slope, rel=1e-8)
    assert math.log(found.scale_cycles) == pytest.approx(reference.intercept, abs=1e-8)
    assert found.r_squared == pytest.approx(reference.rvalue**2, rel=1e-8)
    other = line(lives, failed, "POSITION_ON_CYCLES", rank_rule)
    reverse = stats.linregress(x, y)
    assert other.shape == pytest.approx(reverse.slope, rel=1e-8)
    # The two slopes differ by the squared correlation (textbook fact).
    assert other.shape / found.shape == pytest.approx(found.r_squared, rel=1e-8)


@pytest.mark.parametrize("regressed", BOTH)
@pytest.mark.parametrize("shape", [0.4, 2.0, 15.0])
def test_points_on_a_line_give_that_line_both_ways(regressed: Regressed, shape: float) -> None:
    places = np.arange(1, 8)
    positions = stats.beta.median(places, 8 - places)
    found = line(60_000 * (-np.log1p(-positions)) ** (1 / shape), [True] * 7, regressed)
    assert found.shape == pytest.approx(shape, rel=1e-12)
    assert found.scale_cycles == pytest.approx(60_000, rel=1e-12)
    assert found.r_squared == pytest.approx(1.0, rel=1e-14)


@given(LOT, st.floats(1e-3, 1e6), st.sampled_from(BOTH))
@settings(max_examples=40, deadline=None)
def test_cycles_in_another_unit_move_the_scale_alone(
    lot: Any, factor: float, regressed: Regressed
) -> None:
    lives, failed = split(lot)
    assume(np.ptp(np.log([life for life, did in zip(lives, failed, strict=True) if did])) > 1e-4)
    found = line(lives, failed, regressed)
    other = line(np.array(lives) * factor, failed, regressed)
    assert other.shape == pytest.approx(found.shape, rel=1e-9)
    assert other.scale_cycles == pytest.approx(found.scale_cycles * factor, rel=1e-8)


def test_lives_that_differ_by_one_cycle_in_a_hundred_million_keep_their_line() -> None:
    # Difference of logs 1e-8: the shape follows from the heights' difference alone.
    found = line([1e8, 1e8 + 1], [True, True], "CYCLES_ON_POSITION")
    heights = np.log(-np.log1p(-np.array(found.positions.positions)))
    assert found.shape == pytest.approx((heights[1] - heights[0]) / math.log1p(1e-8), rel=1e-9)


def test_the_line_says_that_it_has_no_bounds() -> None:
    found = line([3.0, 5.0], [True, True], "CYCLES_ON_POSITION")
    assert (found.use, found.bounds) == ("LINE_FOR_THE_EYE", "NONE")


@pytest.mark.parametrize(
    ("records", "reason"),
    [
        (lives_with_run_outs([5.0, 6.0], [False, False]), "NO_FAILURES"),
        (lives_with_run_outs([5.0, 6.0], [True, False]), "FEWER_THAN_TWO_FAILURE_LIVES"),
        (lives_with_run_outs([5.0, 5.0], [True, True]), "FEWER_THAN_TWO_FAILURE_LIVES"),
        (life_records([5.0, 6.0], [7.0, 6.0]), "BRACKETED_LIVES"),
        (lives_with_run_outs([1e-300, 1e300], [True, True], counts=[9, 1]), None),
    ],
)
def test_without_two_failure_lives_there_is_no_line(records: Any, reason: str | None) -> None:
    found = rank_line(records, regressed="CYCLES_ON_POSITION", rank_rule="MEDIAN")
    if reason is None:
        assert isinstance(found, RankLine) and 0 < found.scale_cycles < math.inf
    else:
        assert found == NotEstimable(reason=reason)


def test_a_scale_beyond_every_number_is_not_given() -> None:
    records = lives_with_run_outs([1.0, 1e300, 1e300], [True, True, False], counts=[1, 1, 500])
    found = rank_line(records, regressed="CYCLES_ON_POSITION", rank_rule="MEDIAN")
    assert found == NotEstimable(reason="SCALE_NOT_REPRESENTABLE")


def test_an_unknown_direction_is_refused() -> None:
    with pytest.raises(OutsideDomainError, match="regressed"):
        line([3.0, 5.0], [True, True], "X_ON_Y")  # type: ignore[arg-type]
