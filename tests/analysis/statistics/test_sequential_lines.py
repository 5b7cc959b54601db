"""Wald's lines: where the likelihood ratio says so, and refusals."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import OutsideDomainError
from analysis.statistics.sequential_lines import sequential_lines, sequential_time_lines

RISKS = st.floats(0.01, 0.45)


@given(bad=st.floats(0.3, 0.9), gap=st.floats(0.02, 0.09), producer=RISKS, consumer=RISKS)
def test_on_the_lines_the_likelihood_ratio_is_the_boundary(
    bad: float, gap: float, producer: float, consumer: float
) -> None:
    good = bad + gap
    lines = sequential_lines(good, bad, producer_risk=producer, consumer_risk=consumer)

    def log_ratio(units: float, failures: float) -> float:
        return failures * math.log((1 - bad) / (1 - good)) + (units - failures) * math.log(
            bad / good
        )

    for units in (10.0, 200.0):
        at_accept = log_ratio(units, lines.slope * units - lines.accept_intercept)
        at_reject = log_ratio(units, lines.slope * units + lines.reject_intercept)
        assert at_accept == pytest.approx(math.log(consumer / (1 - producer)), rel=1e-8)
        assert at_reject == pytest.approx(math.log((1 - consumer) / producer), rel=1e-8)


def test_with_a_shape_it_is_the_same_test_in_powers_of_the_cycles() -> None:
    lines = sequential_time_lines(1500.0, 800.0, shape=2.0, producer_risk=0.1, consumer_risk=0.2)
    powers = sequential_time_lines(
        1500.0**2, 800.0**2, shape=1.0, producer_risk=0.1, consumer_risk=0.2
    )
    assert lines.slope == pytest.approx(powers.slope, rel=1e-14)
    assert lines.mean_total_bad_approx == pytest.approx(powers.mean_total_bad_approx, rel=1e-12)


def test_impossible_wishes_are_refused() -> None:
    for good, bad in ((0.8, 0.9), (0.9, 0.9), (1.0, 0.5)):
        with pytest.raises(OutsideDomainError):
            sequential_lines(good, bad, producer_risk=0.1, consumer_risk=0.1)
    with pytest.raises(OutsideDomainError, match="consumer_risk"):
        sequential_lines(0.95, 0.9, producer_risk=0.6, consumer_risk=0.5)
    with pytest.raises(OutsideDomainError, match="shape"):
        sequential_time_lines(1e7, 1e6, shape=50.0, producer_risk=0.1, consumer_risk=0.1)
