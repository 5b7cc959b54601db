"""Exact outcomes of sequential plans against enumeration, fixed plans and seeded play."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.sequential_exact import (
    counted_outcome,
    timed_outcome,
    truncated_counted_plan,
    truncated_timed_plan,
)
from analysis.statistics.sequential_lines import sequential_lines, sequential_time_lines
from schemas.test_plans import CountedStops, TimedStops

LINES = sequential_lines(0.95, 0.85, producer_risk=0.10, consumer_risk=0.10)


@given(
    reliability=st.floats(0.05, 0.95),
    accept=st.lists(st.integers(-1, 3), min_size=1, max_size=7),
    width=st.integers(1, 3),
)
def test_small_plans_agree_with_every_sequence_of_results(
    reliability: float, accept: list[int], width: int
) -> None:
    accept_at = sorted(accept)
    reject_at = [stop + width + 1 for stop in accept_at]
    reject_at[-1] = accept_at[-1] + 1
    plan = CountedStops(accept_at=tuple(accept_at), reject_at=tuple(reject_at))
    accepted = length = 0.0
    for results in itertools.product((0, 1), repeat=len(accept_at)):
        failures = 0
        for unit, failed in enumerate(results, start=1):
            failures += failed
            if failures <= accept_at[unit - 1] or failures >= reject_at[unit - 1]:
                break
        # Each sequence has its full chance: what follows a stop adds up to 1.
        chance = math.prod(1 - reliability if each else reliability for each in results)
        accepted += chance * (failures <= accept_at[unit - 1])
        length += chance * unit
    [outcome] = counted_outcome(plan, [reliability])
    assert outcome.chance_of_acceptance == pytest.approx(accepted, abs=1e-12)
    assert outcome.mean_length == pytest.approx(length, abs=1e-12)
    assert outcome.chance_of_refusal == pytest.approx(1.0 - accepted, abs=1e-12)


def test_a_plan_with_one_stop_is_the_fixed_plan() -> None:
    accept_at, reject_at = [-1] * 51 + [3], [99] * 51 + [4]
    plan = CountedStops(accept_at=tuple(accept_at), reject_at=tuple(reject_at))
    true = [0.99, 0.95, 0.8]
    outcomes = counted_outcome(plan, true)
    assert [each.chance_of_acceptance for each in outcomes] == pytest.approx(
        list(stats.binom.cdf(3, 52, 1.0 - np.array(true))), rel=1e-10
    )
    assert [each.mean_length for each in outcomes] == pytest.approx([52.0] * 3)


def test_a_better_lot_is_accepted_more_often() -> None:
    plan = truncated_counted_plan(LINES, 90, allowed_failures=8)
    chances = [
        each.chance_of_acceptance for each in counted_outcome(plan, np.linspace(0.7, 0.99, 30))
    ]
    assert chances == sorted(chances)


def test_a_timed_plan_with_one_stop_is_a_poisson_count() -> None:
    plan = TimedStops(accept_totals=(9.3,) * 6, reject_totals={6: 9.3})
    for outcome in timed_outcome(plan, [1.0, 3.0]):
        assert outcome.chance_of_acceptance == pytest.approx(
            stats.poisson.cdf(5, 9.3 / outcome.true_level), rel=1e-12
        )
        # Mean total until the sixth failure or 9.3: the integral of P(fewer than 6 failures).
        steps = np.linspace(0.0, 9.3, 20_001)
        still = stats.poisson.cdf(5, steps / outcome.true_level)
        assert outcome.mean_length == pytest.approx(np.trapezoid(still, steps), rel=1e-7)


def test_a_timed_plan_agrees_with_seeded_play() -> None:
    plan = TimedStops(accept_totals=(2.0, 3.5, 5.0, 5.0), reject_totals={2: 0.5, 3: 2.5, 4: 5.0})
    rng, tests = np.random.default_rng(7), 40_000
    at_failure = np.cumsum(rng.exponential(1.3, (tests, 4)), axis=1)
    accepted, length = 0, 0.0
    for totals in at_failure:
        at = [0.0, *totals, math.inf]
        for failures in range(5):
            if failures and totals[failures - 1] <= plan.reject_totals.get(failures, 0.0):
                length += totals[failures - 1]
                break
            if at[failures + 1] > plan.accept_totals[failures]:
                accepted += 1
                length += plan.accept_totals[failures]
                break
    [outcome] = timed_outcome(plan, [1.3])
    error = math.sqrt(0.25 / tests)
    assert abs(outcome.chance_of_acceptance - accepted / tests) < 4 * error
    assert abs(outcome.mean_length - length / tests) < 4 * 2.0 / math.sqrt(tests)


@pytest.mark.parametrize(
    "plan",
    [
        CountedStops(accept_at=(0,), reject_at=(2,)),
        CountedStops(accept_at=(), reject_at=()),
        CountedStops(accept_at=(0, 0), reject_at=(1,)),
    ],
)
def test_a_plan_that_does_not_end_is_refused(plan: CountedStops) -> None:
    with pytest.raises(OutsideDomainError):
        counted_outcome(plan, [0.9])


@pytest.mark.parametrize(
    ("accept", "reject"), [((2.0, 1.0), {2: 2.0}), ((1.0, 2.0), {}), ((), {}), ((0.0,), {1: 1.0})]
)
def test_a_timed_plan_that_does_not_end_is_refused(
    accept: tuple[float, ...], reject: dict[int, float]
) -> None:
    with pytest.raises(OutsideDomainError):
        timed_outcome(TimedStops(accept_totals=accept, reject_totals=reject), [1.0])


def test_a_truncated_plan_on_a_total_follows_its_lines_and_ends() -> None:
    lines = sequential_time_lines(2.0, 1.0, shape=1.0, producer_risk=0.10, consumer_risk=0.10)
    plan = truncated_timed_plan(lines, 20.6, allowed_failures=15)
    assert plan.accept_totals[0] == pytest.approx(lines.accept_intercept)
    assert plan.accept_totals[3] == pytest.approx(lines.accept_intercept + 3 * lines.slope)
    assert plan.accept_totals[-1] == plan.reject_totals[16] == 20.6
    assert plan.reject_totals[5] == pytest.approx(5 * lines.slope - lines.reject_intercept)
    # Truncated far away, true risks obey Wald's inequalities: at most 0.10 / (1 - 0.10)
    # each, and together at most 0.20 (Wald 1947, from memory).
    far = truncated_timed_plan(lines, 150.0, allowed_failures=100)
    [good, bad] = timed_outcome(far, [2.0, 1.0])
    assert good.chance_of_refusal <= 0.1 / 0.9
    assert bad.chance_of_acceptance <= 0.1 / 0.9
    assert good.chance_of_refusal + bad.chance_of_acceptance <= 0.20
    [cut_good, _] = timed_outcome(plan, [2.0, 1.0])
    assert cut_good.mean_length < good.mean_length
