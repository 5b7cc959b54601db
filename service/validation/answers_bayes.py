"""Published cases of statements with a prior; the cases call a probability a confidence."""

from collections.abc import Callable
from typing import Any

from analysis.statistics.beta_prior import (
    beta_prior,
    chance_of_passing,
    success_run_posterior,
    units_required_with_prior,
)
from analysis.statistics.gamma_prior import (
    gamma_prior_from_means,
    rate_posterior,
    rate_test_with_prior,
)
from schemas.priors import GammaPrior

Values = dict[str, Any]


def bayes_success_run(inputs: Values) -> Values:
    """The cases give the number before rounding up for the uniform prior and no failure only."""
    plan = units_required_with_prior(
        beta_prior(inputs["prior_a"], inputs["prior_b"]),
        reliability=inputs["reliability"],
        probability=inputs["confidence"],
        allowed_failures=inputs["failures"],
    )
    answer: Values = {"n": plan.unit_count, "posterior_probability": plan.probability_reached}
    if plan.prior == beta_prior(1, 1) and plan.allowed_failures == 0:
        answer["n_real"] = plan.unit_count_exact
    return answer


def bayes_posterior(inputs: Values) -> Values:
    answer = success_run_posterior(
        beta_prior(inputs["prior_a"], inputs["prior_b"]),
        inputs["n"],
        inputs["failures"],
        reliability=inputs["reliability"],
        probability=inputs["confidence"],
    )
    return {
        "post_a": answer.posterior.success_weight,
        "post_b": answer.posterior.failure_weight,
        "mean": answer.posterior_mean,
        "reliability_lower": answer.reliability_credible_lower,
        "p_reliability_at_least": answer.probability_at_least,
    }


def bayes_predictive_pass(inputs: Values) -> Values:
    answer = chance_of_passing(
        beta_prior(inputs["prior_a"], inputs["prior_b"]),
        inputs["n_future"],
        allowed_failures=inputs["accept"],
    )
    return {"p_pass": answer.chance}


def bayes_gamma_prior(inputs: Values) -> Values:
    """``mtbf05`` is the mean below which the belief puts 5 %, ``mtbf50`` its median."""
    below = {int(name.removeprefix("mtbf")) / 100.0: inputs[name] for name in inputs}
    low, high = sorted(below)
    prior = gamma_prior_from_means(
        below[low],
        below[high],
        probability_above_low=1.0 - low,
        probability_above_high=1.0 - high,
    )
    return {"a": prior.equivalent_failures, "b": prior.equivalent_cycles}


def _gamma_prior(inputs: Values) -> GammaPrior:
    return GammaPrior(equivalent_failures=inputs["a"], equivalent_cycles=inputs["b"])


def bayes_gamma_test_time(inputs: Values) -> Values:
    plan = rate_test_with_prior(
        _gamma_prior(inputs),
        inputs["mtbf"],
        probability=inputs["confidence"],
        allowed_failures=inputs["failures"],
    )
    return {"test_time": plan.total_cycles}


def bayes_gamma_posterior(inputs: Values) -> Values:
    answer = rate_posterior(
        _gamma_prior(inputs),
        inputs["total_time"],
        inputs["failures"],
        probability=inputs["confidence"],
    )
    return {
        "a": answer.posterior.equivalent_failures,
        "b": answer.posterior.equivalent_cycles,
        "mtbf_median": answer.mean_median_cycles,
        "mtbf_lower": answer.mean_credible_lower_cycles,
    }


METHODS: dict[str, Callable[[Values], Values]] = {
    "bayes.success_run": bayes_success_run,
    "bayes.posterior": bayes_posterior,
    "bayes.predictive_pass": bayes_predictive_pass,
    "bayes.gamma_prior": bayes_gamma_prior,
    "bayes.gamma_test_time": bayes_gamma_test_time,
    "bayes.gamma_posterior": bayes_gamma_posterior,
}
