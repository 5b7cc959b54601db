"""Probabilities of log lives where the plain formula loses its digits."""

import math
from fractions import Fraction

import numpy as np
import pytest
from scipy import special

from analysis.statistics.standard_forms import ExtremeValue, Normal


def test_a_certain_survival_leaves_the_small_chance_of_failure_exact() -> None:
    # 1 - exp(-x) = x - x^2/2 + x^3/6 for small x, summed in fractions.
    x = Fraction(1, 10**12)
    exact = x - x**2 / 2 + x**3 / 6
    actual = ExtremeValue.failed_by(np.array([math.log(1e-12)])).value[0]
    assert actual == pytest.approx(
        math.log(exact.numerator) - math.log(exact.denominator), abs=1e-13
    )


def test_a_normal_bracket_is_the_same_in_both_tails() -> None:
    upper = Normal.bracket(np.array([9.0]), np.array([0.5])).value[0]
    lower = Normal.bracket(np.array([-9.5]), np.array([0.5])).value[0]
    assert upper == pytest.approx(lower, rel=1e-14)
    # Far out the bracket is nearly its inner tail: 1e-4 of the mass lies beyond its far end.
    assert 0.0 < special.log_ndtr(-9.0) - upper < 0.02


@pytest.mark.parametrize("form", [ExtremeValue, Normal])
def test_brackets_that_fill_the_line_add_up_to_one(form: type) -> None:
    ends = np.array([-2.0, -0.5, 0.1, 0.9])
    inside = np.exp(form.bracket(ends[:-1], np.diff(ends)).value).sum()
    left = math.exp(form.failed_by(ends[:1]).value[0])
    right = math.exp(form.survival(ends[-1:]).value[0])
    assert left + inside + right == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize("form", [ExtremeValue, Normal])
def test_a_narrow_bracket_is_the_density_at_its_middle_times_its_width(form: type) -> None:
    narrow = form.bracket(np.array([0.3]), np.array([1e-4])).value[0]
    middle = form.density(np.array([0.30005])).value[0] + math.log(1e-4)
    assert narrow == pytest.approx(middle, abs=1e-8)
