"""References: closed forms for equal lives, and the sum itself on a dense grid of shapes."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import OutsideDomainError
from analysis.statistics.passing_shapes import passing_shapes
from analysis.statistics.weibayes import reaches_requirement, target_lives
from schemas.shape_effects import PassingShapes, ShapeInterval, WeibayesEvidence

TARGET = 100_000.0
NEEDED = math.log(0.1) / math.log(0.95)  # 44.89 target lives for 95 % with 90 %, none failed


def shapes_of(
    lives: list[float], *, failures: int = 0, reliability: float = 0.95, allowed: int = 0
) -> PassingShapes:
    evidence = WeibayesEvidence(
        life_cycles=tuple(lives),
        failure_count=failures,
        target_cycles=TARGET,
        confidence=0.9,
        terminated_at_failure=False,
    )
    return passing_shapes(evidence, reliability=reliability, allowed_failures=allowed)


def test_units_beyond_the_target_pass_from_one_shape_on() -> None:
    shapes = shapes_of([2 * TARGET] * 12)
    (part,) = shapes.intervals
    assert part.low == pytest.approx(math.log2(NEEDED / 12), rel=1e-11)
    assert part.high is None
    assert shapes.reason is None


def test_many_units_short_of_the_target_pass_up_to_a_shape() -> None:
    (part,) = shapes_of([0.5 * TARGET] * 60).intervals
    assert part.low == 0.0
    assert part.high == pytest.approx(math.log2(60 / NEEDED), rel=1e-11)


def test_both_together_leave_a_gap() -> None:
    lives = [0.5 * TARGET] * 60 + [3 * TARGET] * 2
    shapes = shapes_of(lives)
    small, large = shapes.intervals
    assert small.low == 0.0
    assert small.high is not None
    assert large.high is None
    for end, outward in ((small.high, 1 + 1e-6), (large.low, 1 - 1e-6)):
        total = target_lives(lives, TARGET, shape=end)
        assert total == pytest.approx(NEEDED, rel=1e-11)
        assert reaches_requirement(total, shapes.target_lives_required)
        outside = target_lives(lives, TARGET, shape=end * outward)
        assert not reaches_requirement(outside, shapes.target_lives_required)


@pytest.mark.parametrize(
    "lives",
    [
        [TARGET] * 45,
        [2 * TARGET] * 45,
        [0.9 * TARGET] * 100 + [4 * TARGET] * 40,
        [TARGET] * 45 + [0.1 * TARGET],
        [TARGET] * 40 + [0.2 * TARGET] * 3 + [1.5 * TARGET] * 6,
    ],
)
def test_every_shape_passes_where_the_least_sum_does(lives: list[float]) -> None:
    assert shapes_of(lives).intervals == (ShapeInterval(low=0.0, high=None),)


@pytest.mark.parametrize("lives", [[TARGET] * 10, [0.5 * TARGET] * 40, [TARGET] * 20 + [1.0] * 20])
def test_finding_no_shape_is_an_answer(lives: list[float]) -> None:
    shapes = shapes_of(lives)
    assert shapes.intervals == ()
    assert shapes.reason == "TOO_FEW_TARGET_LIVES"


def test_too_many_failures_pass_at_no_shape() -> None:
    shapes = shapes_of([5 * TARGET] * 50, failures=2, allowed=1)
    assert (shapes.intervals, shapes.reason) == ((), "TOO_MANY_FAILURES")
    assert shapes_of([5 * TARGET] * 50, failures=1, allowed=1).intervals != ()


@pytest.mark.parametrize("lives", [[], [0.0, 0.0]])
def test_a_lot_that_has_not_started_passes_at_no_shape(lives: list[float]) -> None:
    assert shapes_of(lives).reason == "NOTHING_RUN"


def test_a_requirement_below_one_target_life_is_met_by_the_longest_unit() -> None:
    """A reliability of 5 % with 90 % confidence asks for 0.77 target lives."""
    assert shapes_of([TARGET], reliability=0.05).intervals == (ShapeInterval(low=0.0, high=None),)
    (part,) = shapes_of([0.5 * TARGET], reliability=0.05).intervals
    needed = math.log(0.1) / math.log(0.05)
    assert part.high == pytest.approx(math.log2(1 / needed), rel=1e-10)


def test_a_curve_that_only_touches_the_requirement_is_followed_to_its_end() -> None:
    """2 n cosh(b ln 2) has its least sum, 2 n, at shape 0: all pass, or all but the smallest."""
    needed = 1 / 22.4
    reliability = math.exp(-math.log(10) * needed)  # asks for 22.4 target lives
    lives = [2 * TARGET] * 11 + [0.5 * TARGET] * 11
    (part,) = shapes_of(lives, reliability=reliability).intervals
    assert part.high is None
    assert part.low == pytest.approx(math.acosh(22.4 / 22) / math.log(2), rel=1e-9)
    assert shapes_of([*lives, TARGET], reliability=reliability).intervals == (
        ShapeInterval(low=0.0, high=None),
    )


GRID = np.geomspace(1e-3, 60, 400)


@st.composite
def lots(draw: Any) -> list[float]:
    """Short and long units together, so that every form of the answer occurs."""
    short = draw(st.lists(st.floats(0.05, 1.0), max_size=70))
    long = draw(st.lists(st.floats(1.0, 4.0), min_size=0 if short else 1, max_size=25))
    return [ratio * TARGET for ratio in short + long]


@given(lots(), st.sampled_from([0.3, 0.8, 0.9, 0.95]))
def test_the_answer_agrees_with_the_sum_at_every_shape(
    lives: list[float], reliability: float
) -> None:
    shapes = shapes_of(lives, reliability=reliability)
    ratios = np.array(lives) / TARGET
    sums = (ratios ** GRID[:, None]).sum(axis=1)
    required = math.log(0.1) / math.log(reliability)
    assert shapes.target_lives_required == pytest.approx(required, rel=1e-12)
    clear = np.abs(sums / required - 1) > 1e-9
    for shape, total in zip(GRID[clear], sums[clear], strict=True):
        assert shapes.passes(float(shape)) == (total > required)


@given(lots())
def test_the_ends_pass_themselves(lives: list[float]) -> None:
    shapes = shapes_of(lives)
    assert len(shapes.intervals) <= 2
    for part in shapes.intervals:
        for end in (part.low, part.high):
            if end:
                total = target_lives(lives, TARGET, shape=end)
                assert reaches_requirement(total, shapes.target_lives_required)


def test_numbers_that_cannot_be_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match=r"failure_count must be .* from 0 to 1, got 2"):
        shapes_of([TARGET], failures=2)
    with pytest.raises(OutsideDomainError, match="reliability must be a fraction"):
        shapes_of([TARGET], reliability=1.0)
    with pytest.raises(OutsideDomainError, match="allowed_failures must be"):
        shapes_of([TARGET], allowed=-1)
