"""Reference: differences of the values, and the one-pair evaluation of log_likelihood."""

import numpy as np
import pytest

from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.likelihood_surface import (
    FormSurface,
    PowerSurface,
    Surface,
    likelihood_surface,
    slopes_at,
)
from analysis.statistics.log_likelihood import log_likelihood, sort_lives

WHOLE = float("inf")
EXACT = lives_with_run_outs([30, 50, 80, 90], [True, True, False, True], counts=[1, 2, 5, 1])
MIXED = life_records([0, 20, 30, 55, 80], [15, 40, 30, 60, WHOLE], counts=[1, 2, 1, 1, 4])
A, B = np.array([0.3, 0.8, -0.2]), np.array([1.5, 2.5, 0.7])


def surface_of(records: LifeRecords, distribution: str) -> Surface:
    lives = sort_lives(records, distribution)  # type: ignore[arg-type]
    return likelihood_surface(lives, typical_spread=0.5)


CASES = [(EXACT, "WEIBULL"), (EXACT, "LOGNORMAL"), (MIXED, "WEIBULL"), (MIXED, "LOGNORMAL")]


@pytest.mark.parametrize(("records", "distribution"), CASES)
def test_differences_of_values_are_those_of_the_log_likelihood(
    records: LifeRecords, distribution: str
) -> None:
    center = sort_lives(records, distribution).center  # type: ignore[arg-type]
    values = slopes_at(surface_of(records, distribution), A, B).value
    plain = [
        log_likelihood(records, distribution, location=center + a / b, spread=1 / b)  # type: ignore[arg-type]
        for a, b in zip(A, B, strict=True)
    ]
    assert np.diff(values) == pytest.approx(np.diff(plain), rel=1e-12)


@pytest.mark.parametrize(("records", "distribution"), CASES)
def test_slopes_are_those_of_the_values(records: LifeRecords, distribution: str) -> None:
    surface, step = surface_of(records, distribution), 1e-5
    here = slopes_at(surface, A, B)
    for named, twice, mixed, by_a, by_b in (
        (here.by_a, here.by_aa, here.by_ab, step, 0.0),
        (here.by_b, here.by_bb, here.by_ab, 0.0, step),
    ):
        up, down = slopes_at(surface, A + by_a, B + by_b), slopes_at(surface, A - by_a, B - by_b)
        own, other = ("by_a", "by_b") if by_a else ("by_b", "by_a")
        assert (up.value - down.value) / (2 * step) == pytest.approx(named, rel=1e-7)
        assert (getattr(up, own) - getattr(down, own)) / (2 * step) == pytest.approx(
            twice, rel=1e-7
        )
        assert (getattr(up, other) - getattr(down, other)) / (2 * step) == pytest.approx(
            mixed, rel=1e-7
        )


def test_many_pairs_are_worked_on_in_blocks_with_the_same_result() -> None:
    records = lives_with_run_outs(np.geomspace(10, 1000, 3000), np.arange(3000) % 3 == 0)
    surface = surface_of(records, "WEIBULL")
    a, b = np.linspace(0.1, 1.0, 100), np.linspace(0.5, 2.0, 100)
    together = slopes_at(surface, a, b)
    for index in (0, 50, 99):
        alone = slopes_at(surface, a[index : index + 1], b[index : index + 1])
        assert together.value[index] == pytest.approx(alone.value[0], rel=1e-14)


def test_weibull_lives_without_brackets_take_the_short_way() -> None:
    assert isinstance(surface_of(EXACT, "WEIBULL"), PowerSurface)
    assert isinstance(surface_of(EXACT, "LOGNORMAL"), FormSurface)
    assert isinstance(surface_of(MIXED, "WEIBULL"), FormSurface)


def test_a_bracket_too_narrow_to_tell_is_an_exact_failure() -> None:
    narrow = life_records([50 - 1e-6, 80], [50, WHOLE], counts=[2, 4])
    exact = lives_with_run_outs([50, 80], [True, False], counts=[2, 4])
    assert isinstance(surface_of(narrow, "WEIBULL"), PowerSurface)
    assert np.diff(slopes_at(surface_of(narrow, "WEIBULL"), A, B).value) == pytest.approx(
        np.diff(slopes_at(surface_of(exact, "WEIBULL"), A, B).value), rel=1e-6
    )


def test_only_units_looked_at_once_leave_a_likelihood_without_shape() -> None:
    once = life_records([0, 50], [50, WHOLE], counts=[2, 8])
    assert surface_of(once, "WEIBULL").is_finite_without_shape
    assert surface_of(once, "LOGNORMAL").is_finite_without_shape
    assert not surface_of(MIXED, "WEIBULL").is_finite_without_shape
    assert not surface_of(EXACT, "WEIBULL").is_finite_without_shape


def test_far_from_the_maximum_nothing_is_raised() -> None:
    for records, distribution in CASES:
        value = slopes_at(
            surface_of(records, distribution), np.array([-800.0, 900.0]), np.array([1e-3, 1e3])
        ).value
        assert not (value > 0).any()
