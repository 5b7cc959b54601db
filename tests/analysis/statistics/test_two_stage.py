"""Two-stage plans against sums written apart and against units that were played."""

import math

import numpy as np
import pytest
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.sequential_exact import counted_outcome, timed_outcome
from analysis.statistics.two_stage import (
    second_stage_lives,
    second_stage_units,
    two_stage_counts,
    two_stage_lives,
)


def poisson_sum(first: float, second: float, allowed: tuple[int, int], rate: float) -> float:
    """Chance of acceptance as a sum over the failures of the first stage."""
    at_first, at_second = allowed
    chance = float(stats.poisson.cdf(at_first, rate * first))
    for failures in range(at_first + 1, at_second + 1):
        later = stats.poisson.cdf(at_second - failures, rate * (second - first))
        chance += float(stats.poisson.pmf(failures, rate * first) * later)
    return chance


def binomial_sum(first: int, added: int, allowed: tuple[int, int], fails: float) -> float:
    at_first, at_second = allowed
    chance = float(stats.binom.cdf(at_first, first, fails))
    for failures in range(at_first + 1, at_second + 1):
        later = stats.binom.cdf(at_second - failures, added, fails)
        chance += float(stats.binom.pmf(failures, first, fails) * later)
    return chance


@pytest.mark.parametrize("reliability", [0.90, 0.95, 0.99])
@pytest.mark.parametrize("allowed", [(0, 1), (0, 3), (1, 2), (2, 6)])
def test_the_chance_of_acceptance_equals_sums_written_apart(
    reliability: float, allowed: tuple[int, int]
) -> None:
    rate = -math.log(reliability)
    lives = two_stage_lives(60.0, 110.0, first_allowed=allowed[0], second_allowed=allowed[1])
    [found] = timed_outcome(lives, [1.0 / rate])
    assert found.chance_of_acceptance == pytest.approx(
        poisson_sum(60.0, 110.0, allowed, rate), rel=1e-11
    )
    counts = two_stage_counts(40, 30, first_allowed=allowed[0], second_allowed=allowed[1])
    [found] = counted_outcome(counts, [reliability])
    assert found.chance_of_acceptance == pytest.approx(
        binomial_sum(40, 30, allowed, 1.0 - reliability), rel=1e-11
    )


def test_going_on_to_the_next_row_of_the_table_was_not_paid_for() -> None:
    # Twelve units to twice the target, shape 2, no failure; else on to the 75.83 target
    # lives of a plan with one: an exact integral computed apart gives 13.6 % at 0.95.
    stops = two_stage_lives(48.0, 75.83, first_allowed=0, second_allowed=1)
    [found] = timed_outcome(stops, [-1.0 / math.log(0.95)])
    assert found.chance_of_acceptance == pytest.approx(0.136, abs=0.0005)


def test_the_honest_second_stage_asks_for_the_lives_computed_apart() -> None:
    found = second_stage_lives(
        48.0, first_allowed=0, second_allowed=1, reliability=0.95, confidence=0.90
    )
    assert found == pytest.approx(99.78, abs=0.005)
    # After one failure at 1.63619 targets: the 11 survivors to about 2.971 targets, or 14
    # more units to two of them; hand calculation.
    in_hand = 11 * 4.0 + 1.63619**2
    assert math.sqrt(4.0 + (found - in_hand) / 11) == pytest.approx(2.971, abs=0.0005)
    assert math.ceil((found - in_hand) / 4.0) == 14


def test_fifty_and_ninety_three_units_keep_the_risk() -> None:
    # 50 without a failure, else 93 with one: 9.9 % at reliability 0.95, computed apart.
    stops = two_stage_counts(50, 43, first_allowed=0, second_allowed=1)
    [found] = counted_outcome(stops, [0.95])
    assert found.chance_of_acceptance == pytest.approx(0.099, abs=0.0005)
    added = second_stage_units(
        50, first_allowed=0, second_allowed=1, reliability=0.95, confidence=0.90
    )
    assert binomial_sum(50, added, (0, 1), 0.05) <= 0.10 < binomial_sum(50, added - 1, (0, 1), 0.05)


@pytest.mark.parametrize("allowed", [(0, 1), (0, 2), (1, 3)])
@pytest.mark.parametrize(("reliability", "confidence"), [(0.9, 0.9), (0.97, 0.95)])
def test_the_second_stage_is_the_smallest_that_keeps_the_promise(
    allowed: tuple[int, int], reliability: float, confidence: float
) -> None:
    rate = -math.log(reliability)
    single = float(stats.chi2.ppf(confidence, 2 * allowed[0] + 2)) / (2.0 * rate)
    first = 1.1 * single
    found = second_stage_lives(
        first,
        first_allowed=allowed[0],
        second_allowed=allowed[1],
        reliability=reliability,
        confidence=confidence,
    )
    risk = 1.0 - confidence
    assert poisson_sum(first, found, allowed, rate) <= risk * (1.0 + 1e-12)
    assert poisson_sum(first, 0.999 * found, allowed, rate) > risk


def test_units_that_fail_and_survivors_that_run_on_give_the_same_risk() -> None:
    # Unit lives of shape 2 at reliability 0.95 exactly; twelve run to two targets, then,
    # after one failure, survivors together until the realised sum is reached.
    rng, lots = np.random.default_rng(1_211), 200_000
    second = second_stage_lives(
        48.0, first_allowed=0, second_allowed=1, reliability=0.95, confidence=0.90
    )
    # Lives in target lives are exponential whatever the shape.
    lives = np.sort(rng.exponential(-1.0 / math.log(0.95), (lots, 12)), axis=1)
    clean = lives[:, 0] > 4.0
    one = ~clean & (lives[:, 1] > 4.0)
    each = (second - lives[:, 0]) / 11.0
    later = one & (lives[:, 1] > each)
    accepted = float((clean | later).mean())
    assert accepted == pytest.approx(0.10, abs=4 * math.sqrt(0.09 / lots))


def test_a_first_stage_that_spends_all_risk_leaves_none_for_a_second() -> None:
    with pytest.raises(OutsideDomainError, match="leave some risk"):
        second_stage_lives(
            44.0, first_allowed=0, second_allowed=1, reliability=0.95, confidence=0.90
        )
    with pytest.raises(OutsideDomainError, match="leave some risk"):
        second_stage_units(44, first_allowed=0, second_allowed=1, reliability=0.95, confidence=0.90)


def test_numbers_out_of_range_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="second_allowed"):
        two_stage_counts(10, 5, first_allowed=1, second_allowed=1)
    with pytest.raises(OutsideDomainError, match="second_lives"):
        two_stage_lives(10.0, 10.0, first_allowed=0, second_allowed=1)
    with pytest.raises(OutsideDomainError, match="first_units"):
        two_stage_counts(2, 5, first_allowed=2, second_allowed=3)
