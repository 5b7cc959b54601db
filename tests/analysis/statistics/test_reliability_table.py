"""References: the function for one cell and beta quantiles of scipy.stats."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.bounds import reliability_lower
from analysis.statistics.reliability_table import reliability_lower_table
from analysis.statistics.success_table import chance_of_passing_table


def test_every_cell_is_the_single_limit() -> None:
    units, failures = np.arange(1, 60)[:, None, None], np.arange(5)[:, None]
    confidences = np.array([1e-9, 0.1, 0.5, 0.9, 0.999, 1 - 1e-12])
    table = reliability_lower_table(units, failures, confidence=confidences)
    assert table.shape == (59, 5, 6)
    for (i, j, k), lower in np.ndenumerate(table):
        if j > i + 1:
            assert math.isnan(lower)
        else:
            single = reliability_lower(i + 1, j, confidence=confidences[k])
            assert lower == pytest.approx(single, rel=1e-12)


@pytest.mark.parametrize("failures", [0, 1, 4, 16, 17, 60])
def test_the_limits_agree_with_a_beta_quantile(failures: int) -> None:
    units = np.array([[61], [100], [5000], [10**7]])
    confidences = np.array([0.05, 0.5, 0.95, 0.9999])
    table = reliability_lower_table(units, failures, confidence=confidences)
    referee = stats.beta.isf(confidences, units - failures, failures + 1)
    assert table == pytest.approx(referee, rel=1e-10)


@given(st.integers(1, 10**6), st.integers(0, 16), st.floats(0.001, 0.9999))
def test_a_lot_at_its_limit_passes_with_the_remaining_risk(
    units: int, failures: int, confidence: float
) -> None:
    if units > failures:
        lower = reliability_lower_table(units, failures, confidence=confidence)
        chance = chance_of_passing_table(units, allowed_failures=failures, reliability=lower)
        # A limit is known to a unit of its last place only, which n units multiply.
        slack = 1e-12 + 1e-15 * units
        assert float(chance) == pytest.approx(1 - confidence, rel=slack, abs=slack)


def test_more_units_raise_and_more_failures_lower_the_limits() -> None:
    units, failures = np.arange(12, 300)[:, None], np.arange(12)
    table = reliability_lower_table(units, failures, confidence=0.9)
    assert (np.diff(table, axis=0) > 0).all()
    assert (np.diff(table, axis=1) < 0).all()


def test_a_lot_that_failed_altogether_shows_nothing() -> None:
    assert reliability_lower_table([3, 20], [3, 20], confidence=0.9).tolist() == [0.0, 0.0]


def test_one_question_has_one_answer_without_an_axis() -> None:
    assert reliability_lower_table(22, 0, confidence=0.9).shape == ()


def test_values_that_cannot_be_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="unit_count must be whole numbers of 1"):
        reliability_lower_table(0, 0, confidence=0.9)
    with pytest.raises(OutsideDomainError, match="confidence must be numbers strictly between"):
        reliability_lower_table(5, 0, confidence=95.0)
