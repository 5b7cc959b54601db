"""Stops of each kind of plan against formulas written apart."""

import math

import pytest
from planned_lots import plan_terms
from scipy import stats

from analysis.decision.plan_stops import stops_in_target_lives, stops_in_units
from analysis.errors import OutsideDomainError

RATE = -math.log(0.95)


def test_a_weibayes_plan_ends_at_the_quantile_of_its_failures() -> None:
    stops = stops_in_target_lives(
        plan_terms("WEIBAYES", credit="TO_PLANNED", allowed_failures=1, unit_count=20)
    )
    required = float(stats.chi2.ppf(0.90, 4)) / (2 * RATE)
    assert stops.accept_totals == pytest.approx((required, required))
    assert stops.reject_totals == {2: pytest.approx(required)}


def test_an_any_time_plan_follows_its_cap_or_its_failures() -> None:
    even = {"credit": "TO_PLANNED", "allowed_failures": 5, "max_units": 99}
    free = stops_in_target_lives(plan_terms("ANYTIME", **even, anytime={"prior": "EVEN"}))
    assert len(free.accept_totals) == 6
    capped = stops_in_target_lives(
        plan_terms("ANYTIME", **even, anytime={"prior": "EVEN", "cap_target_lives": 120.0})
    )
    assert capped.accept_totals == free.accept_totals[:2]


def test_a_good_level_is_carried_to_the_planned_cycles_like_the_requirement() -> None:
    given = {
        "unit_count": 40,
        "allowed_failures": 2,
        "sequential": {"good_reliability": 0.99, "producer_risk": 0.1, "consumer_risk": 0.1},
    }
    beyond = stops_in_units(plan_terms("SEQUENTIAL", planned_cycles=200_000, **given))
    # At twice the target with shape 2 both levels are fourth powers.
    bad, good = 1 - 0.95**4, 1 - 0.99**4
    clean = math.ceil(math.log(0.9 / 0.1) / math.log((1 - good) / (1 - bad)))
    assert beyond.accept_at.index(0) + 1 == clean


def test_a_plan_without_its_limits_or_by_attributes_has_no_stops() -> None:
    with pytest.raises(OutsideDomainError, match="kind"):
        stops_in_units(plan_terms("ATTRIBUTE"))
    with pytest.raises(OutsideDomainError, match="first_target_lives"):
        stops_in_target_lives(
            plan_terms("TWO_STAGE", credit="TO_PLANNED", second_stage={"allowed_failures": 1})
        )
