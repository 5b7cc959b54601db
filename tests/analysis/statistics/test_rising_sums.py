"""The two sums against SciPy's incomplete functions and against exact fractions."""

import math
from fractions import Fraction

import pytest
from scipy import special

from analysis.statistics.rising_sums import log_beta_sum, log_gamma_sum


@pytest.mark.parametrize(("argument", "order"), [(0.5, 0.5), (8.0, 1.5), (30.0, 4.0), (90.0, 60.5)])
def test_the_gamma_sum_is_the_incomplete_gamma_function_without_its_power(
    argument: float, order: float
) -> None:
    reference = (
        math.log(special.gammainc(order, argument))
        - order * math.log(argument)
        + argument
        + math.lgamma(order + 1.0)
    )
    assert log_gamma_sum(argument, order) == pytest.approx(reference, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(("argument", "order"), [(2.0, 300), (700.0, 3), (1500.0, 2)])
def test_the_gamma_sum_equals_exact_fractions_where_functions_underflow_or_overflow(
    argument: float, order: int
) -> None:
    term, total, step = Fraction(1), Fraction(1), order
    while True:
        step += 1
        term = term * Fraction(argument) / step
        total += term
        if step > argument and term < total / 10**20:
            break
        # Exact digits beyond the first forty change nothing and cost time.
        term = Fraction(int(term * 10**40), 10**40)
    reference = math.log(total.numerator) - math.log(total.denominator)
    assert log_gamma_sum(argument, float(order)) == pytest.approx(reference, rel=1e-13)


@pytest.mark.parametrize(
    ("argument", "total", "order"),
    [(0.05, 20.5, 1.5), (0.05, 400.0, 3.0), (0.95, 60.0, 40.0), (0.001, 5e4, 2.0)],
)
def test_the_beta_sum_is_the_incomplete_beta_function_without_its_powers(
    argument: float, total: float, order: float
) -> None:
    reference = (
        special.betaln(order, total - order)
        + math.log(special.betainc(order, total - order, argument))
        - order * math.log(argument)
        - (total - order) * math.log1p(-argument)
        + math.log(order)
    )
    assert log_beta_sum(argument, total, order) == pytest.approx(reference, rel=1e-11, abs=1e-11)


def test_nothing_summed_is_nothing() -> None:
    assert log_gamma_sum(0.0, 2.0) == 0.0
    assert log_beta_sum(0.0, 9.0, 2.0) == 0.0


def test_a_sum_that_exceeds_every_number_of_the_machine_is_still_a_logarithm() -> None:
    # exp(z) / z for s = 1, less 1 / z.
    assert log_gamma_sum(5_000.0, 1.0) == pytest.approx(5_000.0 - math.log(5_000.0), rel=1e-14)
