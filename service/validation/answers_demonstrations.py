"""Published cases of success runs, exact limits, Weibayes and lengths of test."""

from collections.abc import Callable
from typing import Any

from analysis.statistics.bounds import reliability_lower, two_sided_proportion_limits
from analysis.statistics.duration import (
    cycles_for_units,
    life_ratio_for_units,
    reliability_from_mixed_lives,
    reliability_shown,
    units_for_life_ratio,
)
from analysis.statistics.success_run import confidence_shown, success_run_plan
from analysis.statistics.weibayes import weibayes_bound
from schemas.estimates import NotEstimable

Values = dict[str, Any]


def success_run_sample_size(inputs: Values) -> Values:
    plan = success_run_plan(
        inputs["reliability"], inputs["confidence"], allowed_failures=inputs["failures"]
    )
    return {
        "n": plan.unit_count,
        "achieved_confidence": plan.confidence_reached,
        "confidence_at_n_minus_1": plan.confidence_one_unit_less,
    }


def success_run_demonstrated_reliability(inputs: Values) -> Values:
    lower = reliability_lower(inputs["n"], inputs["failures"], confidence=inputs["confidence"])
    return {"reliability_lower": lower}


def success_run_confidence(inputs: Values) -> Values:
    confidence = confidence_shown(inputs["n"], inputs["failures"], inputs["reliability"])
    return {"confidence": confidence}


def binomial_clopper_pearson(inputs: Values) -> Values:
    limits = two_sided_proportion_limits(
        inputs["n"], inputs["failures"], two_sided_confidence=inputs["confidence"]
    )
    return {
        "p_lower": limits.lower,
        "p_upper": limits.upper,
        "reliability_lower": 1.0 - limits.upper,
        "reliability_upper": 1.0 - limits.lower,
    }


def weibayes(inputs: Values) -> Values:
    bound = weibayes_bound(
        inputs["times"],
        failure_count=inputs["failures"],
        shape=inputs["beta"],
        confidence=inputs["confidence"],
        terminated_at_failure=inputs["termination"] == "failure",
    )
    point = bound.scale_point_cycles
    return {
        "eta_point": None if isinstance(point, NotEstimable) else point,
        "eta_lower": bound.scale_lower_cycles,
        "chi2_dof": bound.degrees_of_freedom,
        "b_lower": bound.b_life_lower(0.10),
        "reliability_lower": bound.reliability_lower(inputs["at"]),
    }


def duration_units_for_multiple(inputs: Values) -> Values:
    plan = units_for_life_ratio(
        inputs["reliability"],
        inputs["confidence"],
        life_ratio=inputs["multiple"],
        shape=inputs["beta"],
        allowed_failures=inputs["failures"],
    )
    return {
        "n_binomial": plan.unit_count_binomial,
        "n_poisson": plan.unit_count_poisson,
        "n_poisson_real": plan.unit_count_poisson_exact,
        "reliability_at_test_duration": plan.reliability_at_planned_cycles,
    }


def duration_multiple_for_units(inputs: Values) -> Values:
    plan = life_ratio_for_units(
        inputs["reliability"],
        inputs["confidence"],
        unit_count=inputs["n"],
        shape=inputs["beta"],
        allowed_failures=inputs["failures"],
    )
    return {
        "multiple_binomial": plan.life_ratio_binomial,
        "multiple_poisson": plan.life_ratio_poisson,
    }


def duration_cycles_for_units(inputs: Values) -> Values:
    plan = life_ratio_for_units(
        inputs["reliability"],
        inputs["confidence"],
        unit_count=inputs["n"],
        shape=inputs["beta"],
        allowed_failures=inputs["failures"],
    )
    cycles = cycles_for_units(plan, inputs["target_cycles"])
    return {
        "cycles_binomial": cycles.cycles_binomial,
        "cycles_poisson": cycles.cycles_poisson,
        "multiple_binomial": plan.life_ratio_binomial,
        "multiple_poisson": plan.life_ratio_poisson,
    }


def duration_demonstrated_reliability(inputs: Values) -> Values:
    shown = reliability_shown(
        inputs["n"],
        inputs["failures"],
        life_ratio=inputs["multiple"],
        shape=inputs["beta"],
        confidence=inputs["confidence"],
    )
    return {
        "reliability_binomial": shown.reliability_lower_binomial,
        "reliability_poisson": shown.reliability_lower_poisson,
    }


def duration_mixed_exposure(inputs: Values) -> Values:
    shown = reliability_from_mixed_lives(
        inputs["lives"],
        inputs["target"],
        failure_count=inputs["failures"],
        shape=inputs["beta"],
        confidence=inputs["confidence"],
    )
    return {
        "equivalent_unit_lives": shown.target_lives,
        "reliability_lower": shown.reliability_lower,
    }


METHODS: dict[str, Callable[[Values], Values]] = {
    "success_run.sample_size": success_run_sample_size,
    "success_run.demonstrated_reliability": success_run_demonstrated_reliability,
    "success_run.confidence": success_run_confidence,
    "binomial.clopper_pearson": binomial_clopper_pearson,
    "weibayes": weibayes,
    "duration.units_for_multiple": duration_units_for_multiple,
    "duration.multiple_for_units": duration_multiple_for_units,
    "duration.cycles_for_units": duration_cycles_for_units,
    "duration.demonstrated_reliability": duration_demonstrated_reliability,
    "duration.mixed_exposure": duration_mixed_exposure,
}
