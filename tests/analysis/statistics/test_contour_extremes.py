"""Reference: a walk around the curve in small steps, and two ways of searching."""

import math

import numpy as np
import pytest
from contours import LIFE, LOT, ONCE, ONE_OF_500, SHAPE, contour_of

from analysis.errors import DidNotConvergeError
from analysis.statistics import contour_extremes as module
from analysis.statistics.contour_extremes import Questions, extremes
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.likelihood_contour import ray_lengths

MEDIAN_LIFE = Questions(
    np.ones(1), np.zeros(1), np.array([math.log(math.log(2))]), np.ones(1, dtype=bool)
)


@pytest.mark.parametrize("records", [LOT, ONE_OF_500])
def test_extremes_are_those_of_a_walk_around_in_small_steps(records: LifeRecords) -> None:
    contour = contour_of(records, "WEIBULL", 2.0)
    root_a, mixed, root_b = contour.axes
    angles = np.linspace(0, 2 * math.pi, 20_000)
    directions = (root_a * np.cos(angles), mixed * np.cos(angles) + root_b * np.sin(angles))
    lengths = ray_lengths(contour.surface, contour.peak, directions, 2.0)
    a, b = (contour.peak[i] + lengths * directions[i] for i in (0, 1))
    for questions in (SHAPE, LIFE):
        low, high = extremes(contour, questions)
        walked = questions.values(a, b)
        assert low[0] <= walked.min() and low[0] == pytest.approx(walked.min(), rel=1e-4)
        assert high[0] >= walked.max() and high[0] == pytest.approx(walked.max(), rel=1e-4)


@pytest.mark.parametrize("records", [LOT, ONE_OF_500])
def test_halving_brackets_finds_what_newton_finds(
    records: LifeRecords, monkeypatch: pytest.MonkeyPatch
) -> None:
    contour = contour_of(records, "WEIBULL", 1.645)
    by_newton = [extremes(contour, questions) for questions in (SHAPE, LIFE)]
    monkeypatch.setattr(module, "_MOST_NEWTON_STEPS", 1)
    for questions, (low, high) in zip((SHAPE, LIFE), by_newton, strict=True):
        slow_low, slow_high = extremes(contour, questions)
        assert slow_low == pytest.approx(low, rel=1e-9)
        assert slow_high == pytest.approx(high, rel=1e-9)


def test_on_a_curve_that_meets_shape_0_a_shape_has_no_lower_end_and_a_life_no_upper_one() -> None:
    contour = contour_of(ONCE, "WEIBULL", 1.645)
    low, high = extremes(contour, SHAPE)
    assert low[0] == 0.0 and high[0] > contour.peak[1]
    assert extremes(contour, MEDIAN_LIFE)[1].tolist() == [math.inf]


def test_a_search_that_does_not_end_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    contour = contour_of(LOT, "WEIBULL", 1.645)
    monkeypatch.setattr(module, "_MOST_NEWTON_STEPS", 1)
    monkeypatch.setattr(module, "MOST_STEPS", 1)
    with pytest.raises(DidNotConvergeError, match="likelihood limit"):
        extremes(contour, SHAPE)
