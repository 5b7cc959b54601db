"""References: the profile equation of the Weibull likelihood, evaluated plainly."""

import math

import pytest
from lives import outcome

from analysis.decision.life_fit import fit_lives, life_ends, observed_lives
from schemas.estimates import NotEstimable, WeibullFit


def test_failed_and_unbroken_units_are_fitted_together() -> None:
    # Run-outs enter at what is credited, a unit run on without a check no further.
    results = [
        outcome("FAILED", 41_000),
        outcome("FAILED", 52_000),
        *[outcome("RUN_OUT", 60_000)] * 9,
        outcome("RUNNING", 70_000, credited=60_000),
    ]
    fit = fit_lives(results)
    assert isinstance(fit, WeibullFit)
    lives = [41_000.0, 52_000.0] + [60_000.0] * 10
    powers = [life**fit.shape for life in lives]
    left = sum(p * math.log(t) for p, t in zip(powers, lives, strict=True)) / sum(powers)
    right = 1.0 / fit.shape + (math.log(41_000) + math.log(52_000)) / 2
    assert left == pytest.approx(right, rel=1e-12)
    assert fit.scale_cycles == pytest.approx((sum(powers) / 2) ** (1 / fit.shape), rel=1e-10)


def test_units_without_credit_say_nothing() -> None:
    started = [outcome("FAILED", 41_000), outcome("RUN_OUT", 60_000)]
    silent = [outcome("VOID", 0), outcome("RUNNING", 0)]
    assert fit_lives(started + silent) == fit_lives(started)


@pytest.mark.parametrize(
    ("results", "reason"),
    [
        ([], "NO_FAILURES"),
        ([outcome("RUN_OUT", 60_000)] * 3, "NO_FAILURES"),
        ([outcome("FAILED", 60_000)] * 3, "FAILURES_ONLY_AT_LONGEST_LIFE"),
        ([outcome("FAILED", 0), outcome("RUN_OUT", 9)], "FAILURE_AT_ZERO_CYCLES"),
        ([outcome("FAILED", 5), outcome("FAILED_BETWEEN", (5, 9))], "BRACKETED_LIVES"),
    ],
)
def test_what_cannot_be_estimated_is_said_with_its_reason(results, reason) -> None:  # type: ignore[no-untyped-def]
    assert fit_lives(results) == NotEstimable(reason=reason)


def test_brackets_and_credit_become_the_two_ends_of_a_life() -> None:
    results = [
        outcome("FAILED", 41_000),
        outcome("FAILED_BETWEEN", (30_000, 40_000)),
        outcome("RUN_OUT", 60_000),
        outcome("RUNNING", 70_000, credited=50_000),
        outcome("VOID", 0),
    ]
    assert [life_ends(each) for each in results] == [
        (41_000, 41_000),
        (30_000, 40_000),
        (60_000, math.inf),
        (50_000, math.inf),
        None,
    ]
    records = observed_lives(results)
    assert not isinstance(records, NotEstimable)
    assert (records.unit_count, records.failure_count) == (4, 2)


def test_no_life_distribution_has_a_failure_at_zero_cycles() -> None:
    found = observed_lives([outcome("FAILED", 0), outcome("RUN_OUT", 9)])
    assert found == NotEstimable(reason="FAILURE_AT_ZERO_CYCLES")


def test_a_lot_that_has_not_started_has_no_lives() -> None:
    records = observed_lives([outcome("RUNNING", 0)] * 3)
    assert not isinstance(records, NotEstimable)
    assert records.unit_count == 0
