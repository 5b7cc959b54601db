"""References: scipy.stats' extreme value and normal distributions."""

import math

import numpy as np
import pytest
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.fit_quantities import (
    NO_FINITE_LIMIT,
    check_cycles,
    check_fractions,
    cycles_of,
    number_or_none,
    standard_quantiles,
    survival,
)
from schemas.fits import Distribution

FORMS: list[tuple[Distribution, stats.rv_continuous]] = [
    ("WEIBULL", stats.gumbel_l),
    ("EXPONENTIAL", stats.gumbel_l),
    ("LOGNORMAL", stats.norm),
]


@pytest.mark.parametrize(("distribution", "form"), FORMS)
def test_survival_and_quantiles_are_those_of_the_form(
    distribution: Distribution, form: stats.rv_continuous
) -> None:
    points = np.linspace(-8, 3, 23)
    assert survival(points, distribution) == pytest.approx(form.sf(points), rel=1e-12)
    shares = np.array([1e-9, 0.1, 0.5, 0.999])
    assert standard_quantiles(shares, distribution) == pytest.approx(form.ppf(shares), rel=1e-12)


def test_survival_far_out_is_0_and_warns_of_nothing() -> None:
    assert survival(np.array([-1e4, 1e4]), "WEIBULL").tolist() == [1.0, 0.0]


def test_a_logarithm_beyond_all_numbers_is_no_limit() -> None:
    assert cycles_of(math.log(60_000)) == pytest.approx(60_000)
    assert cycles_of(710.0) == NO_FINITE_LIMIT == number_or_none(-math.inf)
    assert cycles_of(-800.0) == 0.0
    assert number_or_none(-3.5) == -3.5


def test_counts_and_fractions_are_checked_with_their_place() -> None:
    assert check_cycles([1, 2.5]).tolist() == [1.0, 2.5]
    assert check_fractions(np.array([0.1])).tolist() == [0.1]  # type: ignore[arg-type]
    with pytest.raises(OutsideDomainError, match=r"at_cycles\[1\]"):
        check_cycles([1, -2])
    with pytest.raises(OutsideDomainError, match=r"fractions\[0\]"):
        check_fractions([0.0])
    with pytest.raises(OutsideDomainError, match=r"at_cycles\[0\]"):
        check_cycles([True])
    assert check_cycles([]).size == 0
