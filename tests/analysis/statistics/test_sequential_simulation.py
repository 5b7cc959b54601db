"""Played tests and the exact recursion agree within the error of play."""

import math

import numpy as np
import pytest

from analysis.statistics.sequential_exact import counted_outcome, truncated_counted_plan
from analysis.statistics.sequential_lines import sequential_lines
from analysis.statistics.sequential_simulation import simulated_outcome
from schemas.test_plans import CountedStops

TESTS = 40_000
LINES = sequential_lines(0.95, 0.85, producer_risk=0.10, consumer_risk=0.10)
PLANS = {
    "wald": truncated_counted_plan(LINES, 90, allowed_failures=8),
    "accepts on a failure": CountedStops(accept_at=(-1, 1, 1), reject_at=(2, 3, 2)),
    "fixed": CountedStops(accept_at=(-1,) * 29 + (2,), reject_at=(99,) * 29 + (3,)),
}


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("reliability", [0.95, 0.9, 0.8])
def test_play_agrees_with_the_recursion(name: str, reliability: float) -> None:
    plan = PLANS[name]
    rng = np.random.default_rng(20251125)
    played = simulated_outcome(plan, reliability, test_count=TESTS, rng=rng)
    [exact] = counted_outcome(plan, [reliability])
    chance = exact.chance_of_acceptance
    error = math.sqrt(chance * (1.0 - chance) / TESTS)
    assert abs(played.chance_of_acceptance - chance) <= 4.5 * error + 1e-12
    # A length is at most the last unit: its deviation is at most half of that.
    length_error = len(plan.accept_at) / 2.0 / math.sqrt(TESTS)
    assert abs(played.mean_length - exact.mean_length) <= 4.5 * length_error


def test_the_same_seed_plays_the_same_tests() -> None:
    one, other = (
        simulated_outcome(PLANS["wald"], 0.9, test_count=1000, rng=np.random.default_rng(3))
        for _ in range(2)
    )
    assert one == other
