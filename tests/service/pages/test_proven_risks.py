"""The data of proven risks: its exact column is the product's, its simulated one agrees."""

import math

import numpy as np
import pytest
from risk_agreement import compare
from risk_plans import ProvenPlan, proven_plans
from risk_simulation import Truth, made_lots, weibull_lives
from scipy import stats

from analysis.decision.plan_risks import plan_risks
from service.pages import risk_wording
from service.pages.proven_risks import (
    ProvenRisk,
    error_text,
    exact_text,
    proven_risks,
    share_text,
)

PLANS = {plan.name: plan for plan in proven_plans()}
RISKS = {risk.name: risk for risk in proven_risks().plans}
APPROVED = [name for name, plan in PLANS.items() if plan.plan is not None]


def share(name: str, truth: str) -> float:
    return RISKS[name].accepted[truth] / proven_risks().lots


def test_the_table_holds_every_plan_and_every_column_once() -> None:
    assert list(RISKS) == list(PLANS) and set(PLANS) == set(risk_wording.PLANS)
    columns = {"AS_ASSUMED", *risk_wording.STRESSES}
    columns |= {rule for _, rule in risk_wording.STRESSES.values() if rule is not None}
    assert all(set(risk.accepted) == columns for risk in RISKS.values())
    assert proven_risks().lots >= 20_000


@pytest.mark.parametrize("name", APPROVED)
def test_the_exact_column_is_what_the_product_says_today(name: str) -> None:
    terms = PLANS[name].terms
    assert terms is not None and RISKS[name].plan == PLANS[name].plan
    assert RISKS[name].exact == pytest.approx(plan_risks(terms).at_requirement, rel=1e-9)
    assert plan_risks(terms).at_requirement <= 0.10 * (1 + 1e-9)


@pytest.mark.parametrize("name", APPROVED)
def test_simulated_lots_pass_as_often_as_exact_or_a_little_less(name: str) -> None:
    exact = RISKS[name].exact
    assert exact is not None
    error = math.sqrt(exact * (1 - exact) / proven_risks().lots)
    # Hourly looks and failures that finish before passes take off at most a point and a half.
    assert exact - 0.015 - 4 * error < share(name, "AS_ASSUMED") < exact + 4 * error


def test_stress_rows_are_what_a_hand_calculation_gives() -> None:
    # Survivors of two lives in a lot of which 5 % die early: binomial at the target.
    for name, chance in (
        ("WEIBAYES_12_0", 0.95**12),
        ("WEIBAYES_20_1", float(stats.binom.cdf(1, 20, 0.05))),
        ("ATTRIBUTE_45_0", 0.95**45),
    ):
        assert share(name, "WEAK_UNITS") == pytest.approx(chance, abs=0.016), name
    # At the target no plan by counting asks for a shape.
    for truth in ("SHAPE_LOWER", "SHAPE_HIGHER"):
        assert share("ATTRIBUTE_77_1", truth) == pytest.approx(
            float(stats.binom.cdf(1, 77, 0.05)), abs=0.01
        )
    # The naive rule, and late bad news: worse the later; with the rule the promise holds.
    assert share("NAIVE_LIVES", "AS_ASSUMED") > 0.2
    late = [share("ANYTIME_EVEN_LIVES", name) for name in ("LATE_24", "LATE_100", "LATE_300")]
    assert late == sorted(late) and late[2] > 0.3
    for name in APPROVED:
        for truth in ("LATE_24_RULE", "LATE_100_RULE", "LATE_300_RULE", "DOUBTFUL_RULE"):
            assert share(name, truth) < 0.11, (name, truth)


@pytest.mark.parametrize("plan", [PLANS[name] for name in APPROVED], ids=lambda plan: plan.name)
def test_rules_written_apart_and_the_product_say_the_same_at_random_looks(
    plan: ProvenPlan,
) -> None:
    assert plan.terms is not None
    rng = np.random.default_rng(8)
    truth = Truth(lives=weibull_lives(2.6), late_hours=20, late_share=0.5, overdue_hours=2)
    size, planned = (8, plan.places), plan.terms.last_credited_cycles
    lots = made_lots(truth, rng, size, planned=planned)
    looks = [(row, int(rng.integers(1, int(lots.end[row].max()) + 3))) for row in range(8)]
    found = compare(plan, lots, looks)
    assert found.differing == [] and found.looks == 8


def test_figures_are_said_to_a_tenth_and_never_as_certain() -> None:
    risk = ProvenRisk(
        name="A", plan=None, exact=None, accepted={"FEW": 1, "ALL": 20_000, "MOST": 19_999}
    )
    assert share_text(risk, "FEW", 20_000) == "below 0.1"
    assert share_text(risk, "ALL", 20_000) == "100.0"
    assert share_text(risk, "MOST", 20_000) == "above 99.9"
    assert error_text(risk, "ALL", 20_000) == "0.00"
    assert exact_text(risk) == "–"
