"""Whole lots: one on paper, those of the scenario, and those of an independent reduction."""

import math
from typing import Any

import msgspec
import pytest
from lives import held_life, life, lives_of, lot, not_started, outcome, provenance, spec
from reference_lots import REFERENCE_LOTS
from scipy import stats

from analysis.decision.evaluation import evaluate_lot, verdict_on
from schemas.decisions import Evaluation, WeibayesView
from schemas.estimates import NotEstimable, WeibullFit
from schemas.lives import Outcome, UnitLife
from schemas.specs import Spec, SpecReference

REFERENCE = SpecReference(spec_id="CC25-T", version=1, hash="sha256:2")


def evaluate(lives: list[UnitLife], against: Spec | None, **changes: Any) -> Evaluation:
    reference = None if against is None else REFERENCE
    answer = evaluate_lot(lot(lives, **changes), against, provenance(), reference)
    alone = verdict_on(lot(lives, **changes), against)
    assert (answer.verdict, answer.kind or None, answer.reasons) == (
        alone.verdict,
        alone.kind,
        alone.reasons,
    )
    return answer


def codes(evaluation: Evaluation) -> list[str]:
    return [reason.code for reason in evaluation.reasons]


def variables(evaluation: Evaluation) -> WeibayesView:
    view = evaluation.requirements[0].variables
    assert isinstance(view, WeibayesView)
    return view


# The paper lot: target 100 000, planned 200 000, shape 2 exactly, R 0.80 with C 0.90, one
# failure allowed. Required: chi2(0.90; 4) = 7.77944 (any table), over -2 ln 0.8 = 0.446287:
# 17.4315 target lives.
PAPER_SPEC = spec(
    "WEIBAYES",
    (0.80, 0.90, 100_000),
    shape=(2.0, 2.0, 2.0),
    plan={
        "unit_count": 6,
        "allowed_failures": 1,
        "planned_cycles": 200_000,
        "credit": "TO_PLANNED",
    },
)
#   unit 1-3  run out at 200 000:            3 x 2.00**2 = 12.00
#   unit 4    run on to 230 000, capped:         2.00**2 =  4.00
#   unit 5    failed at 150 000:                 1.50**2 =  2.25
#   unit 6    stopped at 100 000, may resume:    1.00**2 =  1.00   sum 19.25
PAPER_UNITS = [
    *[outcome("RUN_OUT", 200_000)] * 3,
    outcome("RUN_OUT", 230_000),
    outcome("FAILED", 150_000),
    outcome("SUSPENDED", 100_000),
]


def test_a_lot_on_paper_is_accepted_with_every_figure_as_computed_by_hand() -> None:
    answer = evaluate(lives_of(PAPER_UNITS), PAPER_SPEC)
    assert (answer.verdict, answer.reasons, answer.robust_to_open_holds) == ("ACCEPT", [], True)
    view = variables(answer)
    assert view.target_lives_worst == pytest.approx(19.25, rel=1e-14)
    assert view.target_lives_required == pytest.approx(17.4315, abs=5e-5)
    assert view.failure_count == 1
    # exp(-7.77944 / 2 / 19.25) = exp(-0.202063) = 0.81704
    assert view.reliability_lower_worst == pytest.approx(0.81704, abs=5e-6)
    # Upper: chi2(0.10; 2) / 2 = 0.1053605; unit 6 counts as a survivor: 12 + 4 + 2.25 + 4 =
    # 22.25; exp(-0.1053605 / 22.25) = exp(-0.00473530) = 0.995276
    assert view.reliability_upper_largest == pytest.approx(0.995276, abs=5e-7)
    # Six of six units passed the target: 0.10**(1/6) = 0.681292.
    attribute = answer.requirements[0].attribute_at_target
    assert (attribute.decided_count, attribute.failure_count) == (6, 0)
    assert attribute.reliability_lower_of_decided == pytest.approx(0.681292, abs=5e-7)
    assert [line.plan_credit_cycles for line in answer.units] == [200_000] * 4 + [150_000, 100_000]
    evidence = answer.evidence
    assert (evidence.unit_count, evidence.ended_count, evidence.failure_count) == (6, 5, 1)
    assert evidence.credited_cycles == 1_080_000


def test_a_bracket_turns_the_lot_on_paper_into_one_that_is_not_demonstrated() -> None:
    # Unit 6 found failed between 50 000 and 120 000: two failures, one is allowed.
    units = [*PAPER_UNITS[:5], outcome("FAILED_BETWEEN", (50_000, 120_000))]
    answer = evaluate(lives_of(units), PAPER_SPEC)
    assert (answer.verdict, answer.kind) == ("REJECT", "NOT_DEMONSTRATED")
    assert codes(answer) == ["ALLOWED_FAILURES_EXCEEDED"]
    view = variables(answer)
    # 12 + 4 + 2.25 + 0.50**2 = 18.50; chi2(0.90; 6) / 2 = 5.32232; exp(-0.287693) = 0.749992
    assert view.target_lives_worst == pytest.approx(18.5, rel=1e-14)
    assert view.reliability_lower_worst == pytest.approx(0.749992, abs=1e-6)
    # 12 + 4 + 2.25 + 1.20**2 = 19.69; chi2(0.10; 4) / 2 = 0.531812; exp(-0.0270092) = 0.973352
    assert view.reliability_upper_largest == pytest.approx(0.973352, abs=1e-6)
    # Across the target: one failure in six for the lower limit, six survivors for the upper.
    attribute = answer.requirements[0].attribute_at_target
    assert (attribute.failure_count, attribute.survivor_count_for_upper) == (1, 6)
    assert attribute.reliability_upper == 1.0
    assert answer.estimates.weibull_fit == NotEstimable(reason="BRACKETED_LIVES")


@pytest.mark.parametrize("name", REFERENCE_LOTS)
def test_a_lot_agrees_with_the_independent_reduction(name: str) -> None:
    known = REFERENCE_LOTS[name]
    against = spec(known["kind"], known["requirement"], shape=known["shape"], plan=known["plan"])
    units = [
        outcome(ending, cycles) for count, ending, cycles in known["units"] for _ in range(count)
    ]
    answer = evaluate(lives_of(units), against)
    assert (answer.verdict, answer.kind or None) == (known["verdict"], known["refusal"])
    assert codes(answer) == known["reasons"]
    if known["views"] is not None:
        said = msgspec.to_builtins(answer.views)
        assert known["views"].items() <= said.items()
    result = msgspec.to_builtins(answer.requirements[0])
    for view, figures in known["statistics"].items():
        for figure, value in figures.items():
            field = figure.removesuffix("_at_planned") if "required_at" in figure else figure
            assert result[view][field] == pytest.approx(value, rel=1e-12, abs=0), figure


def demo_spec(units: int, allowed: int) -> Spec:
    return spec(
        "WEIBAYES",
        (0.95, 0.90, 100_000),
        shape=(2.0, 2.0, 2.6),
        plan={
            "unit_count": units,
            "allowed_failures": allowed,
            "planned_cycles": 200_000,
            "credit": "TO_PLANNED",
        },
    )


def limits(credits: list[int], mosts: list[int], failures: int) -> tuple[float, float]:
    """Lower limit at shape 2 and upper limit at shape 2.6, C 0.90, from chi-square quantiles."""
    least = sum((cycles / 100_000) ** 2.0 for cycles in credits)
    largest = sum((cycles / 100_000) ** 2.6 for cycles in mosts)
    lower = math.exp(-stats.chi2.ppf(0.9, 2 * failures + 2) / (2 * least))
    upper = math.exp(-stats.chi2.ppf(0.1, 2 * failures) / (2 * largest)) if failures else 1.0
    return lower, upper


RUN_OUT = outcome("RUN_OUT", 200_000)


def test_the_sound_lot_of_the_scenario_is_accepted_at_its_worst_shape() -> None:
    answer = evaluate(lives_of([RUN_OUT] * 12), demo_spec(12, 0))
    assert answer.verdict == "ACCEPT"
    assert variables(answer).worst_shape == 2.0
    assert round(variables(answer).reliability_lower_worst, 3) == 0.953
    assert variables(answer).reliability_lower_worst == pytest.approx(
        limits([200_000] * 12, [], 0)[0], rel=1e-12
    )


def test_one_failure_leaves_the_second_lot_of_the_scenario_not_demonstrated() -> None:
    answer = evaluate(lives_of([RUN_OUT] * 11 + [outcome("FAILED", 163_619)]), demo_spec(12, 0))
    assert (answer.verdict, answer.kind) == ("REJECT", "NOT_DEMONSTRATED")
    cycles = [200_000] * 11 + [163_619]
    lower, upper = limits(cycles, cycles, 1)
    view = variables(answer)
    assert (view.reliability_lower_worst, view.reliability_upper_largest) == pytest.approx(
        (lower, upper), rel=1e-12
    )
    # The scenario: 0.920 at the worst shape; its upper limit 0.998 is at shape 2 too.
    assert round(view.reliability_lower_worst, 3) == 0.920
    assert round(limits(cycles, cycles, 1)[1], 3) >= 0.998


# The poor lot's law has shape 2.2 and scale 198 000. Its twelve lives are taken here at the
# middle of twelve equal probabilities, (i - 0.5) / 12: a lot as typical of its law as can be.
POOR_LIVES = [
    round(198_000 * (-math.log(1.0 - (number - 0.5) / 12)) ** (1 / 2.2)) for number in range(1, 13)
]


def test_the_poor_lot_of_the_scenario_is_shown_below_the_requirement() -> None:
    failed = [life for life in POOR_LIVES if life <= 200_000]
    assert 6 <= len(failed) <= 9
    units = [outcome("FAILED", life) for life in failed]
    answer = evaluate(lives_of(units + [RUN_OUT] * (12 - len(units))), demo_spec(12, 0))
    assert (answer.verdict, answer.kind) == ("REJECT", "SHOWN_BELOW_REQUIREMENT")
    assert codes(answer) == ["ALLOWED_FAILURES_EXCEEDED", "UPPER_LIMIT_BELOW_REQUIREMENT"]
    cycles = [min(life, 200_000) for life in POOR_LIVES]
    upper = limits(cycles, cycles, len(failed))[1]
    assert answer.reasons[1].reliability_upper == pytest.approx(upper, rel=1e-12)
    assert upper < 0.95
    fit = answer.estimates.weibull_fit
    assert isinstance(fit, WeibullFit)
    assert 1.5 < fit.shape < 3.5


def test_four_failures_of_one_seal_batch_refuse_the_fourth_lot() -> None:
    early = [14_700, 33_365, 53_877, 60_982]
    units = [RUN_OUT] * 8 + [outcome("FAILED", life) for life in early]
    answer = evaluate(lives_of(units), demo_spec(12, 0))
    assert answer.verdict == "REJECT"
    assert "ALLOWED_FAILURES_EXCEEDED" in codes(answer)
    fit = answer.estimates.weibull_fit
    assert isinstance(fit, WeibullFit)
    assert fit.shape == pytest.approx(0.7, abs=0.1)


def test_the_lot_half_way_goes_on_and_says_what_finishes_it() -> None:
    answer = evaluate(lives_of([outcome("RUNNING", 120_000)] * 20), demo_spec(20, 1))
    assert answer.verdict == "CONTINUE"
    assert codes(answer) == ["PLAN_NOT_FINISHED"]
    (way,) = answer.still_needed
    assert (way.kind, way.unit_count, way.cycles_each) == ("FINISH_DECLARED_UNITS", 19, 80_000)
    assert [option.kind for option in answer.options_needing_new_spec] == [
        "NEW_ATTRIBUTE_TEST",
        "NEW_ATTRIBUTE_TEST",
        "NEW_WEIBAYES_TEST",
        "NEW_WEIBAYES_TEST",
    ]


def test_the_api_example_eight_of_twelve_units_done() -> None:
    units = [*lives_of([RUN_OUT] * 8), *(not_started(f"U-{number:03}") for number in range(9, 13))]
    answer = evaluate(units, demo_spec(12, 0))
    plan = answer.requirements[0].plan
    assert (plan.target_lives, plan.worst_shape) == (32.0, 2.0)
    assert plan.target_lives_required == pytest.approx(44.89056748, abs=5e-9)
    rows = {row.shape: row for row in variables(answer).by_shape}
    assert rows[2.0].reliability_lower == pytest.approx(0.930572041, abs=5e-10)
    assert rows[2.6].reliability_lower == pytest.approx(0.953636113, abs=5e-10)
    assert rows[1.8].reliability_lower == pytest.approx(0.920668271, abs=5e-10)
    assert rows[1.8].outside_range
    attribute = answer.requirements[0].attribute_at_target
    assert attribute.reliability_lower_of_decided == pytest.approx(0.749894209, abs=5e-10)
    assert answer.estimates.weibull_fit == NotEstimable(reason="NO_FAILURES")
    assert (answer.evidence.unit_count, answer.evidence.started_count) == (12, 8)


def with_hold(best: Outcome, worst: Outcome, *others: Outcome) -> list[UnitLife]:
    held = held_life("U-900", best=best, worst=worst, name="UNEXPLAINED_STOP")
    return [*lives_of(others), held]


def test_a_hold_that_changes_nothing_leaves_the_verdict_robust() -> None:
    held = with_hold(RUN_OUT, outcome("RUNNING", 150_000), *[RUN_OUT] * 12)
    answer = evaluate(held, demo_spec(12, 0))
    assert (answer.verdict, answer.robust_to_open_holds) == ("ACCEPT", True)
    assert [each.name for each in answer.holds] == ["UNEXPLAINED_STOP"]
    assert (answer.under_holds.best, answer.under_holds.worst) == ("ACCEPT", "ACCEPT")
    assert answer.evidence.open_hold_count == 1
    assert answer.still_needed == []


def test_a_hold_on_which_the_verdict_depends_holds_the_lot() -> None:
    held = with_hold(RUN_OUT, outcome("FAILED", 150_000), *[RUN_OUT] * 11)
    answer = evaluate(held, demo_spec(12, 0))
    assert (answer.verdict, answer.kind or None) == ("HOLD", None)
    assert not answer.robust_to_open_holds
    assert codes(answer) == ["OPEN_HOLDS"]
    assert answer.reasons[0].unit_serials == ["U-900"]
    under = answer.under_holds
    assert (under.best, under.worst, under.worst_kind) == ("ACCEPT", "REJECT", "NOT_DEMONSTRATED")
    assert [way.kind for way in answer.still_needed] == ["DECIDE_HOLDS"]
    assert answer.options_needing_new_spec == []
    # The figures are those of the lives as reduced.
    assert variables(answer).target_lives_worst == 48.0


def test_a_held_lot_that_goes_on_says_both_what_to_decide_and_what_to_run() -> None:
    held = with_hold(
        outcome("SUSPENDED", 150_000),
        outcome("FAILED", 150_000),
        *[outcome("RUNNING", 100_000)] * 11,
    )
    answer = evaluate(held, demo_spec(12, 0))
    assert answer.verdict == "HOLD"
    assert [way.kind for way in answer.still_needed] == ["DECIDE_HOLDS", "FINISH_DECLARED_UNITS"]


TWO_REQUIREMENTS = spec(
    "WEIBAYES",
    (0.95, 0.90, 100_000),
    (0.99, 0.90, 50_000),
    shape=(2.0, 2.0, 2.6),
    plan={
        "unit_count": 12,
        "allowed_failures": 0,
        "planned_cycles": 200_000,
        "credit": "TO_PLANNED",
    },
)


def test_a_lot_passes_only_when_all_its_requirements_pass() -> None:
    # 12 * 4 = 48 of 44.89, but 12 * 16 = 192 of ln 0.1 / ln 0.99 = 229.1.
    answer = evaluate(lives_of([RUN_OUT] * 12), TWO_REQUIREMENTS)
    assert [each.verdict for each in answer.requirements] == ["ACCEPT", "REJECT"]
    assert (answer.verdict, answer.kind, codes(answer)) == (
        "REJECT",
        "NOT_DEMONSTRATED",
        ["TARGET_LIVES_SHORT"],
    )
    assert variables(answer).at_cycles == 100_000
    easier = msgspec.structs.replace(
        TWO_REQUIREMENTS,
        requirement=[
            TWO_REQUIREMENTS.requirement[0],
            msgspec.structs.replace(TWO_REQUIREMENTS.requirement[1], reliability=0.98),
        ],
    )
    # ln 0.1 / ln 0.98 = 114.0
    assert evaluate(lives_of([RUN_OUT] * 12), easier).verdict == "ACCEPT"


def test_a_requirement_refused_at_both_ends_refuses_a_lot_that_another_would_hold() -> None:
    held = with_hold(RUN_OUT, outcome("VOID", 0), *[RUN_OUT] * 11)
    answer = evaluate(held, TWO_REQUIREMENTS)
    assert [each.verdict for each in answer.requirements] == ["HOLD", "REJECT"]
    assert (answer.verdict, answer.robust_to_open_holds) == ("REJECT", True)


def test_without_a_specification_a_lot_is_held_with_estimates() -> None:
    units = lives_of([outcome("FAILED", 40_000), RUN_OUT, RUN_OUT])
    answer = evaluate(units, None, registered=False)
    assert (answer.verdict, codes(answer), answer.marks) == ("HOLD", ["NO_SPEC"], ["UNREGISTERED"])
    assert isinstance(answer.estimates.weibull_fit, WeibullFit)
    assert answer.requirements == []
    assert (answer.spec, answer.views) == (msgspec.UNSET, msgspec.UNSET)
    assert [line.plan_credit_cycles for line in answer.units] == [40_000, 200_000, 200_000]


def test_a_registered_lot_without_rows_waits_for_data() -> None:
    answer = evaluate([not_started("U-001")], demo_spec(12, 0))
    assert (answer.verdict, codes(answer)) == ("CONTINUE", ["NO_DATA"])
    (way,) = answer.still_needed
    assert (way.kind, way.unit_count, way.cycles_each) == ("FINISH_DECLARED_UNITS", 12, 200_000)


def test_a_late_specification_is_marked_and_bars_acceptance_where_it_says_so() -> None:
    units, marks = lives_of([RUN_OUT] * 12), ["SPEC_AFTER_DATA"]
    lenient = evaluate(units, demo_spec(12, 0), marks=marks)
    assert (lenient.verdict, lenient.marks) == ("ACCEPT", marks)
    strict = msgspec.structs.replace(demo_spec(12, 0), spec_before_data=True)
    answer = evaluate(units, strict, marks=marks)
    assert (answer.verdict, codes(answer)) == ("HOLD", ["SPEC_AFTER_DATA"])
    assert answer.views and answer.views.variables == "ACCEPT"


def test_equal_facts_give_equal_bytes_and_no_number_that_is_none() -> None:
    units = [life("U-001", outcome("FAILED", 60_000)), *lives_of([RUN_OUT] * 11)]
    first, second = (msgspec.json.encode(evaluate(units, demo_spec(12, 0))) for _ in range(2))
    assert first == second
    # msgspec writes NaN and infinity as null.
    assert b"null" not in first
