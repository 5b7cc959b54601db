"""Published cases of fixed and sequential plans."""

from collections.abc import Callable
from typing import Any

from analysis.statistics.fixed_plans import (
    counted_plan,
    failure_ended_plan,
    timed_plan,
    timed_plan_risks,
)
from analysis.statistics.sequential_exact import (
    counted_outcome,
    timed_outcome,
    truncated_counted_plan,
)
from analysis.statistics.sequential_lines import sequential_lines, sequential_time_lines
from analysis.statistics.success_table import chance_of_passing_table
from schemas.test_plans import SequentialLines, TimedStops

Values = dict[str, Any]


def _risks(inputs: Values) -> dict[str, float]:
    return {"producer_risk": inputs["alpha"], "consumer_risk": inputs["beta"]}


def _lines(inputs: Values) -> SequentialLines:
    return sequential_lines(inputs["r0"], inputs["r1"], **_risks(inputs))


def sprt_binomial(inputs: Values) -> Values:
    lines = _lines(inputs)
    return {
        "slope": lines.slope,
        "h_accept": lines.accept_intercept,
        "h_reject": lines.reject_intercept,
        "min_units_accept_zero_failures": lines.least_units_to_accept,
        "oc_at_slope_wald": lines.chance_at_slope_approx,
        "asn_at_r0_wald": lines.mean_units_good_approx,
        "asn_at_r1_wald": lines.mean_units_bad_approx,
        "asn_at_slope_wald": lines.mean_units_slope_approx,
    }


def sprt_binomial_exact_truncated(inputs: Values) -> Values:
    plan = truncated_counted_plan(
        _lines(inputs), inputs["truncate_n"], allowed_failures=inputs["truncate_accept"]
    )
    [outcome] = counted_outcome(plan, [inputs["true_r"]])
    return {
        "p_accept": outcome.chance_of_acceptance,
        "p_reject": outcome.chance_of_refusal,
        "asn": outcome.mean_length,
    }


def sprt_exponential(inputs: Values) -> Values:
    lines = sequential_time_lines(
        inputs["theta0"], inputs["theta1"], shape=inputs.get("weibull_beta", 1), **_risks(inputs)
    )
    return {
        "slope": lines.slope,
        "h_accept": lines.accept_intercept,
        "h_reject": lines.reject_intercept,
        "accept_time_zero_failures": lines.total_to_accept_without_failure,
        "min_failures_to_reject": lines.least_failures_to_reject,
        "oc_at_slope_wald": lines.chance_at_slope_approx,
        "expected_failures_theta0_wald": lines.mean_failures_good_approx,
        "expected_failures_theta1_wald": lines.mean_failures_bad_approx,
        "expected_total_time_theta0_wald": lines.mean_total_good_approx,
        "expected_total_time_theta1_wald": lines.mean_total_bad_approx,
    }


def sequential_poisson_exact_oc(inputs: Values) -> Values:
    plan = TimedStops(
        accept_totals=tuple(inputs["accept_times"]),
        reject_totals={int(r): total for r, total in inputs["reject_times"].items()},
    )
    [outcome] = timed_outcome(plan, [inputs["theta"]])
    return {
        "p_accept": outcome.chance_of_acceptance,
        "p_reject": outcome.chance_of_refusal,
        "expected_total_time": outcome.mean_length,
    }


def fixed_time_terminated_risks(inputs: Values) -> Values:
    risks = timed_plan_risks(
        inputs["duration_theta1"],
        allowed_failures=inputs["accept"],
        good_mean=inputs["discrimination"],
        bad_mean=1.0,
    )
    return {"producer_risk": risks.producer_risk, "consumer_risk": risks.consumer_risk}


def fixed_time_terminated_design(inputs: Values) -> Values:
    plan = timed_plan(inputs["theta0"], inputs["theta1"], **_risks(inputs))
    return {
        "accept": plan.allowed_failures,
        "reject": plan.allowed_failures + 1,
        "duration_min_for_consumer": plan.least_total,
        "duration_max_for_producer": plan.most_total,
    }


def fixed_failure_terminated_design(inputs: Values) -> Values:
    bad, good = inputs["ratio_theta1_theta0"]
    plan = failure_ended_plan(good, bad, **_risks(inputs))
    return {"r": plan.failure_count, "accept_factor": plan.least_mean_ratio}


def fixed_binomial_oc(inputs: Values) -> Values:
    chances = chance_of_passing_table(
        inputs["n"], allowed_failures=inputs["accept"], reliability=inputs["reliabilities"]
    )
    return {"p_accept": [float(chance) for chance in chances]}


def fixed_binomial_design(inputs: Values) -> Values:
    plan = counted_plan(inputs["r0"], inputs["r1"], **_risks(inputs))
    return {
        "n": plan.unit_count,
        "accept": plan.allowed_failures,
        "producer_risk": plan.producer_risk,
        "consumer_risk": plan.consumer_risk,
    }


METHODS: dict[str, Callable[[Values], Values]] = {
    "sprt.binomial": sprt_binomial,
    "sprt.binomial_exact_truncated": sprt_binomial_exact_truncated,
    "sprt.exponential": sprt_exponential,
    "sequential.poisson_exact_oc": sequential_poisson_exact_oc,
    "fixed.time_terminated_risks": fixed_time_terminated_risks,
    "fixed.time_terminated_design": fixed_time_terminated_design,
    "fixed.failure_terminated_design": fixed_failure_terminated_design,
    "fixed.binomial_oc": fixed_binomial_oc,
    "fixed.binomial_design": fixed_binomial_design,
}
