"""References: chi-square quantiles of scipy.stats and a dense grid of shapes."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.shape_effects import shape_sensitivity, worst_over_shapes
from analysis.statistics.shape_range import least_target_lives
from schemas.shape_effects import WeibayesEvidence

TARGET = 100_000.0


def evidence(
    lives: list[float], failures: int, *, confidence: float = 0.9, at_failure: bool = False
) -> WeibayesEvidence:
    return WeibayesEvidence(
        life_cycles=tuple(lives),
        failure_count=failures,
        target_cycles=TARGET,
        confidence=confidence,
        terminated_at_failure=at_failure,
    )


def mean_of(given_evidence: WeibayesEvidence) -> float:
    """Half the chi-square quantile on 2 r or 2 r + 2 degrees of freedom."""
    more = 0 if given_evidence.terminated_at_failure else 2
    degrees = 2 * given_evidence.failure_count + more
    return float(stats.chi2.ppf(given_evidence.confidence, degrees)) / 2


def log_lives_on_grid(given_evidence: WeibayesEvidence, quantile: float, shapes: Any) -> Any:
    """Logarithm of the lower limit of the life of an exponential quantile, per shape."""
    lives = np.array([life for life in given_evidence.life_cycles if life > 0])
    sums = np.log(np.exp(np.outer(shapes, np.log(lives / lives.max()))).sum(axis=1))
    return np.log(lives.max()) + (sums + math.log(quantile / mean_of(given_evidence))) / shapes


def reliabilities_on_grid(given_evidence: WeibayesEvidence, count: float, shapes: Any) -> Any:
    lives = np.array(given_evidence.life_cycles)
    sums = ((lives / count) ** np.asarray(shapes)[:, None]).sum(axis=1)
    return np.exp(-mean_of(given_evidence) / sums)


@st.composite
def finished_tests(draw: Any) -> WeibayesEvidence:
    lives = draw(st.lists(st.floats(1e3, 1e6), min_size=1, max_size=60))
    failures = draw(st.integers(0, min(4, len(lives))))
    return evidence(
        lives,
        failures,
        confidence=draw(st.floats(0.05, 0.99)),
        at_failure=failures > 0 and draw(st.booleans()),
    )


RANGES = st.tuples(st.floats(0.3, 5), st.floats(0, 6)).map(lambda pair: (pair[0], sum(pair)))


@given(finished_tests(), RANGES, st.floats(0.001, 0.9))
def test_a_b_life_is_least_on_a_dense_grid_of_shapes(
    given_evidence: WeibayesEvidence, span: tuple[float, float], fraction: float
) -> None:
    """The answer is reached at a shape of the range and no shape of the grid gives less."""
    worst = worst_over_shapes(
        given_evidence, shape_low=span[0], shape_high=span[1], at_cycles=(), fractions=(fraction,)
    )
    shapes = np.linspace(*span, 2001)
    for quantile, found in (
        (-math.log1p(-fraction), worst.b_lives[0]),
        (1.0, worst.scale),
    ):
        assert span[0] <= found.shape <= span[1]
        least = math.log(found.lower_cycles)
        at_its_shape = log_lives_on_grid(given_evidence, quantile, np.array([found.shape]))
        assert least == pytest.approx(at_its_shape[0], abs=1e-10)
        assert least <= log_lives_on_grid(given_evidence, quantile, shapes).min() + 1e-10


@given(finished_tests(), RANGES, st.floats(2e3, 1e6))
def test_a_reliability_is_least_on_a_dense_grid_of_shapes(
    given_evidence: WeibayesEvidence, span: tuple[float, float], count: float
) -> None:
    worst = worst_over_shapes(
        given_evidence, shape_low=span[0], shape_high=span[1], at_cycles=(count,), fractions=()
    )
    shapes = np.linspace(*span, 2001)
    for at, found in ((TARGET, worst.target), (count, worst.reliability[0])):
        on_grid = reliabilities_on_grid(given_evidence, at, shapes)
        at_its_shape = reliabilities_on_grid(given_evidence, at, [found.shape])
        assert found.at_cycles == at
        assert span[0] <= found.shape <= span[1]
        assert found.reliability_lower == pytest.approx(at_its_shape[0], rel=1e-9, abs=1e-300)
        assert found.reliability_lower <= on_grid.min() * (1 + 1e-9) + 1e-300


def test_each_quantity_has_its_own_worst_shape_inside_the_range() -> None:
    lives = [float(round(150_000 * 0.93**step)) for step in range(30)]
    given_evidence = evidence(lives, 0)
    worst = worst_over_shapes(
        given_evidence, shape_low=0.5, shape_high=6.0, at_cycles=(60_000.0,), fractions=(0.1, 0.2)
    )
    shapes = np.linspace(0.5, 6.0, 200_001)
    by_grid = [
        shapes[log_lives_on_grid(given_evidence, -math.log1p(-p), shapes).argmin()]
        for p in (0.1, 0.2)
    ]
    found = [b_life.shape for b_life in worst.b_lives]
    assert found == pytest.approx(by_grid, abs=1e-4)
    assert 0.5 < min(found) < max(found) < 6.0
    lives_least = least_target_lives(lives, TARGET, shape_low=0.5, shape_high=6.0).shape
    assert worst.target.shape == lives_least
    assert 0.5 < lives_least < 6.0
    assert min(abs(shape - lives_least) for shape in found) > 0.1


def test_units_of_one_life_have_their_worst_b_life_at_an_end() -> None:
    """With n equal lives t: t (q n / m)**(1 / b), which rises or falls with the shape."""
    few, many = evidence([TARGET] * 10, 0), evidence([TARGET] * 40, 0)
    for given_evidence, end in ((few, 1.0), (many, 3.0)):
        worst = worst_over_shapes(
            given_evidence, shape_low=1.0, shape_high=3.0, at_cycles=(), fractions=(0.1,)
        )
        ratio = -math.log(0.9) * len(given_evidence.life_cycles) / -math.log(0.1)
        assert worst.b_lives[0].shape == end
        assert worst.b_lives[0].lower_cycles == pytest.approx(
            TARGET * ratio ** (1 / end), rel=1e-12
        )


@settings(max_examples=50)
@given(finished_tests(), st.floats(0.5, 5), st.floats(0.01, 0.9))
def test_a_row_is_the_chi_square_bound_at_its_shape(
    given_evidence: WeibayesEvidence, shape: float, fraction: float
) -> None:
    (row,) = shape_sensitivity(
        given_evidence, shapes=(shape,), at_cycles=(50_000.0,), fractions=(fraction,)
    )
    total = sum(life**shape for life in given_evidence.life_cycles)
    scale = (total / mean_of(given_evidence)) ** (1 / shape)
    assert row.scale.lower_cycles == pytest.approx(scale, rel=1e-9)
    assert row.target_lives == pytest.approx(total / TARGET**shape, rel=1e-10)
    for shown, count in ((row.target, TARGET), (row.reliability[0], 50_000.0)):
        expected = math.exp(-((count / scale) ** shape))
        assert shown.reliability_lower == pytest.approx(expected, rel=1e-7, abs=1e-300)
    b_life = scale * (-math.log(1 - fraction)) ** (1 / shape)
    assert row.b_lives[0].lower_cycles == pytest.approx(b_life, rel=1e-9)


@settings(max_examples=50)
@given(finished_tests(), RANGES)
def test_no_row_of_a_range_is_below_the_worst_of_it(
    given_evidence: WeibayesEvidence, span: tuple[float, float]
) -> None:
    asked: dict[str, Any] = {"at_cycles": (40_000.0,), "fractions": (0.05,)}
    worst = worst_over_shapes(given_evidence, shape_low=span[0], shape_high=span[1], **asked)
    for row in shape_sensitivity(given_evidence, shapes=np.linspace(*span, 7).tolist(), **asked):
        slack = 1 + 1e-10
        assert worst.target.reliability_lower <= row.target.reliability_lower * slack
        assert (
            worst.reliability[0].reliability_lower <= row.reliability[0].reliability_lower * slack
        )
        assert worst.b_lives[0].lower_cycles <= row.b_lives[0].lower_cycles * slack
        assert worst.scale.lower_cycles <= row.scale.lower_cycles * slack


@settings(max_examples=30)
@given(finished_tests(), RANGES, st.floats(0.001, 1000))
def test_b_lives_scale_with_the_cycles(
    given_evidence: WeibayesEvidence, span: tuple[float, float], factor: float
) -> None:
    other = evidence(
        [life * factor for life in given_evidence.life_cycles],
        given_evidence.failure_count,
        confidence=given_evidence.confidence,
        at_failure=given_evidence.terminated_at_failure,
    )
    both = [
        worst_over_shapes(
            each, shape_low=span[0], shape_high=span[1], at_cycles=(), fractions=(0.1,)
        ).b_lives[0]
        for each in (given_evidence, other)
    ]
    assert both[1].lower_cycles == pytest.approx(both[0].lower_cycles * factor, rel=1e-9)


def test_a_lot_that_has_not_started_shows_nothing() -> None:
    worst = worst_over_shapes(
        evidence([0.0, 0.0], 0), shape_low=1.0, shape_high=3.0, at_cycles=(), fractions=(0.1,)
    )
    assert worst.target.reliability_lower == 0.0
    assert worst.b_lives[0].lower_cycles == 0.0
    assert worst.scale.lower_cycles == 0.0


def test_numbers_that_cannot_be_are_refused() -> None:
    asked: dict[str, Any] = {"shape_low": 1.0, "shape_high": 3.0}
    with pytest.raises(OutsideDomainError, match=r"fractions\[1\] must be a fraction"):
        worst_over_shapes(evidence([1.0], 0), at_cycles=(), fractions=(0.1, 10), **asked)
    with pytest.raises(OutsideDomainError, match=r"at_cycles\[0\] must be a finite number above"):
        worst_over_shapes(evidence([1.0], 0), at_cycles=(0.0,), fractions=(), **asked)
    with pytest.raises(OutsideDomainError, match="number of life_cycles must be"):
        worst_over_shapes(evidence([], 0), at_cycles=(), fractions=(), **asked)
    with pytest.raises(OutsideDomainError, match="failure_count must be 1 or more when"):
        worst_over_shapes(evidence([1.0], 0, at_failure=True), at_cycles=(), fractions=(), **asked)
    with pytest.raises(OutsideDomainError, match="shape_high must be shape_low"):
        worst_over_shapes(
            evidence([1.0], 0), shape_low=3.0, shape_high=1.0, at_cycles=(), fractions=()
        )
    with pytest.raises(OutsideDomainError, match="shape must be a finite number above 0"):
        shape_sensitivity(evidence([1.0], 0), shapes=(0.0,), at_cycles=(), fractions=())
