"""Exact risks against sums written apart; no approved plan lets too much pass."""

import math

import pytest
from lives import outcome
from planned_lots import plan_terms, state_of
from scipy import stats

from analysis.decision.plan_risks import chances_of_acceptance, next_failure, plan_risks
from analysis.decision.verdict import stand

RATE = -math.log(0.95)
LIVES = {"credit": "TO_PLANNED"}
COUNTS = {"with_shape": False, "planned_cycles": 100_000}
PLANS = [
    plan_terms("ATTRIBUTE", **COUNTS, unit_count=77, allowed_failures=1),
    plan_terms("ATTRIBUTE", unit_count=20, allowed_failures=1),
    plan_terms("WEIBAYES", **LIVES, unit_count=20, allowed_failures=1),
    plan_terms(
        "TWO_STAGE",
        **LIVES,
        planned_cycles=300_000,
        second_stage={"allowed_failures": 1, "first_target_lives": 48.0},
    ),
    plan_terms(
        "TWO_STAGE",
        **COUNTS,
        unit_count=50,
        second_stage={"allowed_failures": 1, "unit_count": 43},
    ),
    plan_terms(
        "SEQUENTIAL",
        **COUNTS,
        unit_count=120,
        allowed_failures=2,
        sequential={"good_reliability": 0.995, "producer_risk": 0.1, "consumer_risk": 0.08},
    ),
    plan_terms("ANYTIME", **LIVES, allowed_failures=4, anytime={"prior": "CLEAN"}),
    plan_terms(
        "ANYTIME", **COUNTS, max_units=200, allowed_failures=2, anytime={"prior": "PATIENT"}
    ),
]


@pytest.mark.parametrize("terms", PLANS)
def test_no_plan_accepts_more_lots_at_the_requirement_than_it_says(terms: object) -> None:
    risks = plan_risks(terms)  # type: ignore[arg-type]
    assert 0.05 < risks.at_requirement <= risks.most_allowed * (1 + 1e-9)
    chances = [each.chance for each in risks.operating_curve]
    assert chances == sorted(chances)


def test_risks_of_fixed_plans_are_binomial_and_poisson() -> None:
    assert plan_risks(PLANS[0]).at_requirement == pytest.approx(stats.binom.cdf(1, 77, 0.05))
    # Twice the target at shape 2: the reliability to be shown is a fourth power.
    assert plan_risks(PLANS[1]).at_requirement == pytest.approx(stats.binom.cdf(1, 20, 1 - 0.95**4))
    lives = float(stats.chi2.ppf(0.90, 4)) / (2 * RATE)
    assert plan_risks(PLANS[2]).at_requirement == pytest.approx(0.10, rel=1e-9)
    assert chances_of_acceptance(PLANS[2], [0.99]) == pytest.approx(
        [stats.poisson.cdf(1, -math.log(0.99) * lives)]
    )


def test_a_lot_of_known_size_has_a_hypergeometric_risk() -> None:
    terms = plan_terms("ATTRIBUTE", **COUNTS, unit_count=37, lot_size=120)
    # Seven weak units among 120 are one too many for 0.95.
    assert plan_risks(terms).at_requirement == pytest.approx(stats.hypergeom.cdf(0, 120, 7, 37))
    anytime = plan_terms("ANYTIME", **COUNTS, max_units=60, lot_size=120, anytime={"prior": "EVEN"})
    assert plan_risks(anytime).at_requirement == pytest.approx(stats.hypergeom.cdf(0, 120, 7, 37))


def test_the_next_failure_is_told_with_what_it_would_cost() -> None:
    def next_of(number: int, *results: object) -> object:
        terms = PLANS[number]
        return next_failure(stand(state_of(*results), terms), terms)  # type: ignore[arg-type]

    clean = [outcome("RUN_OUT", 200_000)] * 5
    weibayes = next_of(2, *clean)
    assert not weibayes.refuses  # type: ignore[attr-defined]
    staged = next_of(3, *clean)
    assert staged.target_lives_required == pytest.approx(99.78, abs=0.005)  # type: ignore[attr-defined]
    by_counting = next_of(4, *clean)
    assert by_counting.units_required == 93  # type: ignore[attr-defined]
    failed = outcome("FAILED", 50_000)
    assert next_of(3, failed).refuses  # type: ignore[attr-defined]
    assert next_of(0, failed).refuses  # type: ignore[attr-defined]
    assert not next_of(0).refuses  # type: ignore[attr-defined]
    assert next_of(7, failed).units_required == 139  # type: ignore[attr-defined]
