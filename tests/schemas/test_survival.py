"""Reading a curve at a count; reference for quantiles: statsmodels."""

import math

import msgspec
import numpy as np
import pytest
from statsmodels.duration.survfunc import SurvfuncRight

from schemas.estimates import NotEstimable
from schemas.survival import (
    HazardCurve,
    HazardStep,
    IntervalSurvival,
    MassInterval,
    SurvivalCurve,
    SurvivalLimits,
    SurvivalStep,
)

BEYOND = NotEstimable(reason="BEYOND_LONGEST_LIFE")
WITHIN = NotEstimable(reason="WITHIN_MASS_INTERVAL")
NONE = NotEstimable(reason="NO_LIMITS_AT_ZERO_SURVIVAL")
LIMITS = SurvivalLimits(lower=0.4, upper=0.9)


def step(cycles: float, survival: float) -> SurvivalStep:
    known = survival > 0
    return SurvivalStep(
        cycles=cycles,
        at_risk=4,
        failures=1,
        survival=survival,
        standard_error=0.1 if known else NONE,
        plain_limits=LIMITS if known else NONE,
        log_log_limits=LIMITS if known else NONE,
    )


def curve(*steps: SurvivalStep, longest: float) -> SurvivalCurve:
    return SurvivalCurve(
        steps=steps, longest_cycles=longest, unit_count=4, failure_count=2, confidence=0.9
    )


def test_survival_is_that_of_the_last_step_up_to_the_longest_life() -> None:
    found = curve(step(10, 0.75), step(20, 0.5), longest=30)
    read = [found.survival_at(cycles) for cycles in (0, 9.9, 10, 19, 20, 30, 30.1)]
    assert read == [1.0, 1.0, 0.75, 0.75, 0.5, 0.5, BEYOND]


def test_where_nothing_survives_nothing_survives_longer() -> None:
    assert curve(step(10, 0.5), step(20, 0.0), longest=20).survival_at(99) == 0.0


def test_limits_are_given_only_between_one_and_zero() -> None:
    found = curve(step(10, 0.75), step(20, 0.0), longest=20)
    assert found.log_log_limits_at(5) == NotEstimable(reason="NO_LIMITS_BEFORE_FIRST_FAILURE")
    assert found.log_log_limits_at(15) == LIMITS
    assert found.log_log_limits_at(20) == NONE
    assert curve(step(10, 0.75), longest=20).log_log_limits_at(21) == BEYOND


def test_a_b_life_is_the_first_count_by_which_the_fraction_has_failed() -> None:
    lives, failed = np.array([5.0, 7, 7, 9, 12, 15, 20]), np.array([1, 1, 0, 1, 1, 0, 0])
    reference = SurvfuncRight(lives, failed)
    found = curve(
        *(step(t, s) for t, s in zip(reference.surv_times, reference.surv_prob, strict=True)),
        longest=20,
    )
    for fraction in (0.05, 0.1, 0.2, 0.3, 0.4, 0.5):
        assert found.b_life_cycles(fraction) == reference.quantile(fraction)
    assert found.b_life_cycles(0.9) == BEYOND
    with pytest.raises(ValueError, match="fraction"):
        found.b_life_cycles(1.0)


def test_a_b_life_does_not_hang_on_the_last_digit() -> None:
    # 0.95 by 19/20 and 1 - 0.05 need not be the same double.
    assert curve(step(10, math.nextafter(0.95, 1.0)), longest=20).b_life_cycles(0.05) == 10


@pytest.mark.parametrize("cycles", [-1, math.nan, math.inf])
def test_a_count_that_is_none_is_refused(cycles: float) -> None:
    with pytest.raises(ValueError, match="cycles"):
        curve(longest=5).survival_at(cycles)


def test_the_hazard_is_not_read_beyond_the_longest_life() -> None:
    rise = HazardStep(
        cycles=10, at_risk=4, failures=1, cumulative_hazard=0.25, standard_error=0.2, limits=LIMITS
    )
    found = HazardCurve(
        steps=(rise,), longest_cycles=20, unit_count=4, failure_count=1, confidence=0.9
    )
    assert [found.hazard_at(at) for at in (0, 10, 20, 21)] == [0.0, 0.25, 0.25, BEYOND]


def test_survival_by_intervals_is_known_outside_them_only() -> None:
    found = IntervalSurvival(
        intervals=(
            MassInterval(low_cycles=10, high_cycles=20, mass=0.25),
            MassInterval(low_cycles=30, high_cycles=30, mass=0.25),
            MassInterval(low_cycles=50, high_cycles=None, mass=0.5),
        ),
        longest_cycles=50,
        unit_count=4,
        failure_count=2,
        log_likelihood=-3.0,
        excess=0.0,
        iteration_count=1,
    )
    read = [found.survival_at(at) for at in (10, 15, 20, 29, 30, 50, 51)]
    assert read == [1.0, WITHIN, 0.75, 0.75, 0.5, 0.5, BEYOND]
    assert found.survival_between(15) == (0.75, 1.0)
    assert found.survival_between(51) == (0.0, 0.5)


def test_answers_come_back_from_json_as_they_went() -> None:
    found = curve(step(10, 0.75), step(20, 0.0), longest=20)
    assert msgspec.json.decode(msgspec.json.encode(found), type=SurvivalCurve) == found
