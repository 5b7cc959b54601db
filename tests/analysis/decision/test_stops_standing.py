"""Verdicts under two-stage, sequential and any-time plans, by hand calculation."""

import math

import numpy as np
import pytest
from lives import life, outcome
from planned_lots import plan_terms, state_of

from analysis.decision.plan_risks import plan_risks
from analysis.decision.stops_standing import stand_in_target_lives, stand_in_units
from analysis.decision.verdict import judge
from schemas.anytime import AnytimePrior
from schemas.lives import Outcome

RUN_OUT = outcome("RUN_OUT", 200_000)
PASSED = outcome("RUN_OUT", 100_000)
FAILED = outcome("FAILED", 60_000)
RUNNING = outcome("RUNNING", 50_000)


def anytime(prior: AnytimePrior, **plan: object) -> dict[str, object]:
    return {
        "credit": "TO_PLANNED",
        "allowed_failures": 3,
        "max_units": 60,
        "anytime": {"prior": prior},
    } | plan


@pytest.mark.parametrize(
    ("prior", "verdict"), [("CLEAN", "ACCEPT"), ("EVEN", "CONTINUE"), ("PATIENT", "CONTINUE")]
)
def test_twelve_clean_run_outs_settle_it_only_where_clean_lots_were_expected(
    prior: AnytimePrior, verdict: str
) -> None:
    # 12 x 2^2 = 48 target lives at the worst shape, 48 x -ln 0.95 = 2.462 requirement lives;
    # 2.435, 2.744 and 3.262 accept without a failure (computed apart by quadrature).
    terms = plan_terms("ANYTIME", **anytime(prior))
    found = judge(state_of(*[RUN_OUT] * 12), terms)
    assert found.verdict == verdict
    standing = stand_in_target_lives(state_of(*[RUN_OUT] * 12), terms)
    assert standing.target_lives == pytest.approx(48.0)
    assert standing.evidence
    # Units added to the same test count on: 14 of them are 56 lives, 2.872 requirement lives.
    fourteen = judge(state_of(*[RUN_OUT] * 14), terms).verdict
    assert fourteen == ("CONTINUE" if prior == "PATIENT" else "ACCEPT")


def test_the_evidence_and_its_limit_agree_with_the_verdict() -> None:
    terms = plan_terms("ANYTIME", **anytime("EVEN"))
    for units in (13, 14):
        standing = stand_in_target_lives(state_of(*[RUN_OUT] * units), terms)
        assert standing.evidence
        told = standing.evidence
        assert told.evidence_required == pytest.approx(10.0)
        assert told.reliability_lower
        assert (told.evidence >= 10.0) is standing.is_demonstrated
        assert (told.reliability_lower >= 0.95) is standing.is_demonstrated


def test_one_failure_goes_on_and_the_fourth_refuses() -> None:
    terms = plan_terms("ANYTIME", **anytime("EVEN"))
    one = state_of(*[RUN_OUT] * 11, outcome("FAILED", 163_619))
    assert judge(one, terms).verdict == "CONTINUE"
    four = state_of(*[RUN_OUT] * 20, *[outcome("FAILED", 150_000)] * 4)
    found = judge(four, terms)
    assert (found.verdict, found.kind) == ("REJECT", "NOT_DEMONSTRATED")
    assert [each.code for each in found.reasons] == ["ALLOWED_FAILURES_EXCEEDED"]


def test_a_lot_that_fails_early_is_shown_below_at_any_look() -> None:
    # Eight failures near 30,000 cycles and four running: even if those four run to the end,
    # 4 x 2^2.6 + 8 x 0.3^2 = 25 target lives are 1.29 requirement lives, below the 2.892 of
    # eight failures (computed apart).
    terms = plan_terms("ANYTIME", **anytime("EVEN"))
    lot = state_of(*[outcome("FAILED", 30_000)] * 8, *[outcome("RUNNING", 30_000)] * 4)
    found = judge(lot, terms)
    assert (found.verdict, found.kind) == ("REJECT", "SHOWN_BELOW_REQUIREMENT")


def test_a_give_up_line_refuses_at_a_look_below_it() -> None:
    with_line = anytime("EVEN", anytime={"prior": "EVEN", "give_up_evidence": 0.1})
    # Three failures within 12 x 0.25 = 3 target lives, 0.154 requirement lives.
    lot = state_of(*[outcome("FAILED", 50_000)] * 3, *[outcome("RUNNING", 50_000)] * 9)
    assert judge(lot, plan_terms("ANYTIME", **anytime("EVEN"))).verdict == "CONTINUE"
    found = judge(lot, plan_terms("ANYTIME", **with_line))
    assert [each.code for each in found.reasons] == ["REFUSAL_LINE_REACHED"]
    assert found.kind == "NOT_DEMONSTRATED"


def test_counted_any_time_units_need_what_was_computed_apart() -> None:
    # R 0.95, C 0.90, EVEN: 54 units without a failure, 103 with one.
    terms = plan_terms(
        "ANYTIME",
        with_shape=False,
        planned_cycles=100_000,
        unit_count=20,
        allowed_failures=2,
        max_units=200,
        anytime={"prior": "EVEN"},
    )
    assert judge(state_of(*[PASSED] * 53, *[RUNNING] * 9), terms).verdict == "CONTINUE"
    assert judge(state_of(*[PASSED] * 54, *[RUNNING] * 9), terms).verdict == "ACCEPT"
    assert judge(state_of(*[PASSED] * 101, FAILED), terms).verdict == "CONTINUE"
    assert judge(state_of(*[PASSED] * 102, FAILED), terms).verdict == "ACCEPT"


def two_stages(planned: int = 300_000) -> dict[str, object]:
    return {
        "credit": "TO_PLANNED",
        "planned_cycles": planned,
        "second_stage": {"allowed_failures": 1, "first_target_lives": 48.0},
        "max_units": 26,
    }


def test_a_second_stage_asks_for_the_lives_that_pay_for_the_first() -> None:
    terms = plan_terms("TWO_STAGE", **two_stages())
    assert judge(state_of(*[RUN_OUT] * 12), terms).verdict == "ACCEPT"
    failed = outcome("FAILED", 163_619)
    lot = state_of(*[outcome("RUNNING", 200_000)] * 11, failed)
    standing = stand_in_target_lives(lot, terms)
    assert standing.target_lives_required == pytest.approx(99.78, abs=0.005)
    assert judge(lot, terms).verdict == "CONTINUE"
    # The survivors together to about 297,100 cycles (shape 2: 11 x 2.971^2 + 2.677 = 99.78).
    for cycles, verdict in ((297_000, "CONTINUE"), (297_200, "ACCEPT")):
        on = state_of(*[outcome("RUNNING", cycles)] * 11, failed)
        assert judge(on, terms).verdict == verdict
    # Or 14 more units to 200,000.
    added = state_of(*[outcome("RUNNING", 200_000)] * 25, failed)
    assert judge(added, terms).verdict == "ACCEPT"
    assert judge(state_of(*[RUN_OUT] * 24, failed), terms).verdict == "CONTINUE"
    two = judge(state_of(*[RUN_OUT] * 24, failed, failed), terms)
    assert [each.code for each in two.reasons] == ["ALLOWED_FAILURES_EXCEEDED"]


def test_two_stages_by_counting_take_units_in_the_order_of_their_places() -> None:
    terms = plan_terms(
        "TWO_STAGE",
        with_shape=False,
        planned_cycles=100_000,
        unit_count=50,
        second_stage={"allowed_failures": 1, "unit_count": 43},
    )
    assert judge(state_of(*[PASSED] * 50), terms).verdict == "ACCEPT"
    assert judge(state_of(*[PASSED] * 49, RUNNING), terms).verdict == "CONTINUE"
    # A failure among the first fifty: the rest must pass.
    with_one = [FAILED, *[PASSED] * 91]
    assert judge(state_of(*with_one, RUNNING), terms).verdict == "CONTINUE"
    assert judge(state_of(*with_one, PASSED), terms).verdict == "ACCEPT"
    refused = judge(state_of(FAILED, FAILED, *[RUNNING] * 20), terms)
    assert [each.code for each in refused.reasons] == ["ALLOWED_FAILURES_EXCEEDED"]


SEQUENTIAL = {
    "planned_cycles": 100_000,
    "unit_count": 120,
    "allowed_failures": 2,
    "sequential": {"good_reliability": 0.995, "producer_risk": 0.1, "consumer_risk": 0.08},
}


def test_a_sequential_verdict_by_counting_does_not_depend_on_who_finishes_first() -> None:
    # Wald's lines by hand: G = ln(0.05/0.005) + ln(0.995/0.95) = 2.3489, slope 0.0197,
    # intercept ln(0.9/0.08)/G = 1.0305: accepts from 53 units without a failure.
    terms = plan_terms("SEQUENTIAL", with_shape=False, **SEQUENTIAL)
    gain = math.log(0.05 / 0.005) + math.log(0.995 / 0.95)
    first = math.ceil(math.log(0.9 / 0.08) / math.log(0.995 / 0.95))
    assert gain == pytest.approx(2.3489, abs=1e-4)
    assert judge(state_of(*[PASSED] * (first - 1)), terms).verdict == "CONTINUE"
    assert judge(state_of(*[PASSED] * first), terms).verdict == "ACCEPT"
    # One running among the first: nothing can be said yet, however many passed after it.
    early = state_of(RUNNING, *[PASSED] * (first + 20))
    assert judge(early, terms).verdict == "CONTINUE"
    # Two of the first units fail: the line of refusal is met at the second.
    met = judge(state_of(FAILED, FAILED, *[PASSED] * 90), terms)
    assert [each.code for each in met.reasons] == ["REFUSAL_LINE_REACHED"]


def test_lots_whose_units_are_started_as_needed_are_accepted_as_often_as_the_plan_says() -> None:
    terms = plan_terms("SEQUENTIAL", with_shape=False, **SEQUENTIAL)
    exact = plan_risks(terms).at_requirement
    rng, lots, accepted = np.random.default_rng(55), 1_500, 0
    for _ in range(lots):
        results: list[Outcome] = []
        verdict = "CONTINUE"
        while verdict == "CONTINUE":
            # Six stations at a time; failures are seen before the passes of their round.
            fails = rng.random(6) < 0.05
            seen = [FAILED if fail else RUNNING for fail in fails]
            done = [FAILED if fail else PASSED for fail in fails]
            verdict = judge(state_of(*results, *seen), terms).verdict
            results += done
            if verdict == "CONTINUE":
                verdict = judge(state_of(*results), terms).verdict
        accepted += verdict == "ACCEPT"
    # A failure among units of a round beyond the deciding one counts too: a little below.
    error = math.sqrt(exact / lots)
    assert exact - 0.02 - 3 * error < accepted / lots < exact + 3 * error


def test_a_sequential_line_that_was_met_is_met_although_nobody_looked() -> None:
    terms = plan_terms(
        "SEQUENTIAL",
        credit="TO_PLANNED",
        allowed_failures=4,
        max_units=60,
        sequential={
            "good_reliability": 0.99,
            "producer_risk": 0.1,
            "consumer_risk": 0.1,
            "last_target_lives": 160.0,
        },
    )
    # Lines by hand: D = -ln 0.95 + ln 0.99 = 0.041243; with ln(0.9/0.1)/D = 53.3 and slope
    # ln(ln 0.95/ln 0.99)/D = 39.5 the second failure refuses up to 2 x 39.5 - 53.3 = 25.7.
    early = outcome("FAILED", 20_000)
    lot = state_of(*[outcome("RUNNING", 200_000)] * 30, early, early)
    found = judge(lot, terms)
    assert [each.code for each in found.reasons] == ["REFUSAL_LINE_REACHED"]
    # All 32 side by side at 20,000 cycles; below the target the worst shape is 2.6.
    assert found.reasons[0].target_lives == pytest.approx(32 * 0.2**2.6)
    assert found.reasons[0].target_lives_required == pytest.approx(25.7, abs=0.1)
    late = outcome("FAILED", 190_000)
    assert judge(state_of(*[RUN_OUT] * 30, late, late), terms).verdict == "CONTINUE"


def test_a_declared_life_gives_no_clock_and_units_count_as_run_side_by_side() -> None:
    terms = plan_terms(
        "SEQUENTIAL",
        credit="TO_PLANNED",
        allowed_failures=4,
        max_units=60,
        sequential={
            "good_reliability": 0.99,
            "producer_risk": 0.1,
            "consumer_risk": 0.1,
            "last_target_lives": 160.0,
        },
    )
    results = [*[RUN_OUT] * 10, outcome("FAILED", 40_000)]
    told = state_of(*results, lives=[life("", each) for each in results])
    assert judge(told, terms) == judge(state_of(*results), terms)


def test_a_lot_of_known_size_counts_without_putting_back() -> None:
    # 120 units of which 6 may be weak: 37 clean ones settle it at C 0.90 with EVEN, and 38
    # clean ones of a lot of 40 leave no room for three weak ones.
    terms = plan_terms(
        "ANYTIME",
        with_shape=False,
        planned_cycles=100_000,
        unit_count=20,
        max_units=60,
        lot_size=120,
        anytime={"prior": "EVEN"},
    )
    assert judge(state_of(*[PASSED] * 36, RUNNING), terms).verdict == "CONTINUE"
    assert judge(state_of(*[PASSED] * 37, RUNNING), terms).verdict == "ACCEPT"


def test_decided_units_are_told_by_counting_plans() -> None:
    terms = plan_terms("SEQUENTIAL", with_shape=False, **SEQUENTIAL)
    standing = stand_in_units(state_of(PASSED, RUNNING, FAILED), terms)
    assert (standing.decided_count, standing.failure_count) == (2, 1)
