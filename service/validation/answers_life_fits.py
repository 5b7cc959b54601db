"""Published cases of life fits: exponential, three-parameter Weibull, and where none exists."""

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis.statistics.exponential_limits import exponential_limits
from analysis.statistics.fisher_limits import fisher_limits
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.threshold_weibull import threshold_weibull_fit
from schemas.estimates import NotEstimable

Values = dict[str, Any]


def records_of(data: Values) -> LifeRecords:
    """Lives as the cases write them: time and status, or lower and upper ends; counts if any."""
    counts = np.asarray(data.get("count") or [1] * len(data.get("time") or data["lower"]))
    held = counts > 0  # A row may say that nobody was found there.
    if "time" in data:
        failed = np.asarray(data["status"]) == 1
        lives = np.asarray(data["time"], dtype=float)
        return lives_with_run_outs(lives[held], failed[held], counts=counts[held])
    low = np.array([0.0 if end is None else end for end in data["lower"]])
    high = np.array([np.inf if end is None else end for end in data["upper"]])
    return life_records(low[held], high[held], counts=counts[held])


def exponential(inputs: Values) -> Values:
    """Pairs of limits hold together with the case's confidence, each alone with (1 + C) / 2."""
    records = records_of(inputs["data"])
    fit = life_fit(records, "EXPONENTIAL")
    assert not isinstance(fit, NotEstimable)
    confidence = inputs["confidence"]
    each = 0.5 * (1.0 + confidence)
    fisher = fisher_limits(fit, confidence=each, at_cycles=(), fractions=())
    by_time, by_failure = (
        exponential_limits(records, confidence=each, ended_at_failure=ended)
        for ended in (False, True)
    )
    one_sided = exponential_limits(records, confidence=confidence, ended_at_failure=False)
    return {
        "total_time": by_time.total_cycles,
        "failures": fit.failure_count,
        "theta": fit.scale_cycles,
        "loglik": fit.log_likelihood,
        "theta_fisher": [fisher.scale_cycles.lower, fisher.scale_cycles.upper],
        "theta_chi2_time_terminated": [by_time.mean_lower_cycles, by_time.mean_upper_cycles],
        "theta_chi2_failure_terminated": [
            by_failure.mean_lower_cycles,
            by_failure.mean_upper_cycles,
        ],
        "theta_lower_one_sided_time_terminated": one_sided.mean_lower_cycles,
    }


def threshold_weibull(inputs: Values) -> Values:
    fit = threshold_weibull_fit(records_of(inputs["data"]))
    if isinstance(fit, NotEstimable):
        return dict.fromkeys(("gamma", "eta", "beta", "loglik"))
    return {
        "gamma": fit.threshold_cycles,
        "eta": fit.scale_cycles,
        "beta": fit.shape,
        "loglik": fit.log_likelihood,
    }


def weibull_existence(inputs: Values) -> Values:
    fit = life_fit(records_of(inputs["data"]), "WEIBULL")
    return {"mle_exists": not isinstance(fit, NotEstimable)}


def weibull_point_fit(inputs: Values) -> Values:
    """Point values only, for the tighter test beside the cases."""
    fit = life_fit(records_of(inputs["data"]), "WEIBULL")
    assert not isinstance(fit, NotEstimable)
    return {"eta": fit.scale_cycles, "beta": fit.shape, "loglik": fit.log_likelihood}


METHODS: dict[str, Callable[[Values], Values]] = {
    "mle.exponential": exponential,
    "mle.weibull3": threshold_weibull,
    "mle.weibull2.existence": weibull_existence,
}
