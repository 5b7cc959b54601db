"""Fixed plans keep both risks, and no smaller one would."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.fixed_plans import (
    counted_plan,
    failure_ended_plan,
    timed_plan,
    timed_plan_risks,
)

RISKS = st.sampled_from([0.05, 0.1, 0.2, 0.3])


@pytest.mark.parametrize(
    ("good", "bad", "producer", "consumer"),
    [(0.99, 0.92, 0.05, 0.10), (0.95, 0.80, 0.10, 0.10), (0.9, 0.5, 0.2, 0.05)],
)
def test_the_counted_plan_is_the_smallest_of_all_by_brute_force(
    good: float, bad: float, producer: float, consumer: float
) -> None:
    plan = counted_plan(good, bad, producer_risk=producer, consumer_risk=consumer)
    smallest = next(
        (units, allowed)
        for units in range(1, 200)
        for allowed in range(units)
        if stats.binom.cdf(allowed, units, 1.0 - bad) <= consumer
        and stats.binom.sf(allowed, units, 1.0 - good) <= producer
    )
    assert (plan.unit_count, plan.allowed_failures) == smallest
    assert plan.producer_risk == pytest.approx(
        stats.binom.sf(smallest[1], smallest[0], 1.0 - good), rel=1e-9
    )
    assert plan.consumer_risk == pytest.approx(
        stats.binom.cdf(smallest[1], smallest[0], 1.0 - bad), rel=1e-9
    )


@settings(max_examples=50)
@given(ratio=st.floats(1.2, 10.0), producer=RISKS, consumer=RISKS, mean=st.floats(1.0, 1e7))
def test_the_timed_plan_keeps_both_risks_at_both_its_ends_and_one_failure_less_does_not(
    ratio: float, producer: float, consumer: float, mean: float
) -> None:
    plan = timed_plan(ratio * mean, mean, producer_risk=producer, consumer_risk=consumer)
    for total in (plan.least_total, plan.most_total):
        risks = timed_plan_risks(
            total,
            allowed_failures=plan.allowed_failures,
            good_mean=ratio * mean,
            bad_mean=mean,
        )
        assert risks.producer_risk <= producer * (1 + 1e-9)
        assert risks.consumer_risk <= consumer * (1 + 1e-9)
    fewer = plan.allowed_failures - 1
    if fewer >= 0:
        # With the total at which the consumer's risk is just kept, a good lot is refused too often.
        total = mean * stats.gamma.isf(consumer, fewer + 1)
        assert stats.poisson.sf(fewer, total / (ratio * mean)) > producer


@given(ratio=st.floats(1.3, 10.0), producer=RISKS, consumer=RISKS)
def test_a_plan_that_ends_at_a_failure_keeps_both_risks(
    ratio: float, producer: float, consumer: float
) -> None:
    plan = failure_ended_plan(ratio, 1.0, producer_risk=producer, consumer_risk=consumer)
    # The total at the r-th failure is a gamma sum of r exponential lives.
    total = plan.least_mean * plan.failure_count
    assert stats.gamma.cdf(total / ratio, plan.failure_count) == pytest.approx(producer, rel=1e-9)
    assert stats.gamma.sf(total, plan.failure_count) <= consumer * (1 + 1e-9)


def test_levels_in_the_wrong_order_or_too_close_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="bad_reliability"):
        counted_plan(0.9, 0.95, producer_risk=0.1, consumer_risk=0.1)
    with pytest.raises(OutsideDomainError, match="bad_mean"):
        timed_plan(1.0, 1.0, producer_risk=0.1, consumer_risk=0.1)
    with pytest.raises(OutsideDomainError, match="million"):
        timed_plan(1.0001, 1.0, producer_risk=0.01, consumer_risk=0.01)
    with pytest.raises(OutsideDomainError, match="good_reliability"):
        counted_plan(1.0, 0.95, producer_risk=0.1, consumer_risk=0.1)
