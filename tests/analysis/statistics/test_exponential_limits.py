"""Limits of an exponential mean against the distributions of count and total that define them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.exponential_limits import exponential_limits
from analysis.statistics.life_records import life_records, lives_with_run_outs
from schemas.estimates import NotEstimable

CONFIDENCES = st.floats(0.01, 0.999)


@given(st.floats(1e-3, 1e11), st.integers(1, 200), st.integers(0, 200), CONFIDENCES)
def test_planned_cycles_have_limits_at_which_the_count_has_the_stated_chance(
    life: float, failures: int, whole: int, confidence: float
) -> None:
    """At the lower limit r or fewer failures have chance 1 - C, at the upper one r or more."""
    lives = lives_with_run_outs([life, 2 * life], [True, False], counts=[failures, max(whole, 1)])
    limits = exponential_limits(lives, confidence=confidence, ended_at_failure=False)
    total = life * (failures + 2 * max(whole, 1))
    assert limits.total_cycles == pytest.approx(total, rel=1e-14)
    assert limits.mean_cycles == pytest.approx(total / failures, rel=1e-14)
    at_lower = stats.poisson(total / limits.mean_lower_cycles)
    assert at_lower.cdf(failures) == pytest.approx(1.0 - confidence, rel=1e-9)
    at_upper = stats.poisson(total / limits.mean_upper_cycles)
    assert at_upper.sf(failures - 1) == pytest.approx(1.0 - confidence, rel=1e-9)


@given(st.integers(1, 200), CONFIDENCES)
def test_a_total_up_to_the_last_failure_is_gamma_distributed(
    failures: int, confidence: float
) -> None:
    lives = lives_with_run_outs([1e6], [True], counts=[failures])
    limits = exponential_limits(lives, confidence=confidence, ended_at_failure=True)
    total_at_lower = stats.gamma(failures, scale=limits.mean_lower_cycles)
    total_at_upper = stats.gamma(failures, scale=limits.mean_upper_cycles)
    assert total_at_lower.cdf(1e6 * failures) == pytest.approx(confidence, rel=1e-9)
    assert total_at_upper.sf(1e6 * failures) == pytest.approx(confidence, rel=1e-9)


def test_without_a_failure_there_is_a_lower_limit_only() -> None:
    lives = lives_with_run_outs([1000], [False])
    limits = exponential_limits(lives, confidence=0.9, ended_at_failure=False)
    assert limits.mean_cycles == limits.mean_upper_cycles == NotEstimable(reason="NO_FAILURES")
    # NIST/SEMATECH e-Handbook 8.4.5.1: T / -ln(1 - C) where nothing failed.
    assert limits.mean_lower_cycles == pytest.approx(434.29448190325182, rel=1e-14)


def test_a_bracketed_life_has_no_total() -> None:
    with pytest.raises(OutsideDomainError, match="records must be exact failures"):
        exponential_limits(life_records([1], [2]), confidence=0.9, ended_at_failure=False)
