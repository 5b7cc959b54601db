"""Published cases of Weibull and lognormal fits with both kinds of limits."""

import math
from collections.abc import Callable
from typing import Any

from analysis.statistics.fisher_limits import fisher_limits
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords, life_records
from analysis.statistics.likelihood_limits import likelihood_limits
from schemas.estimates import NotEstimable
from schemas.fit_limits import BLifeLimits, FitLimits, Limits, ReliabilityLimits
from schemas.fits import LifeFit

Values = dict[str, Any]


def records_of(data: Values) -> LifeRecords:
    """Lives given by a time and a status, or by two ends (no upper one: had not failed)."""
    if "time" in data:
        low = [float(time) for time in data["time"]]
        high = [
            time if failed else math.inf for time, failed in zip(low, data["status"], strict=True)
        ]
    else:
        low = [float(end or 0.0) for end in data["lower"]]
        high = [math.inf if end is None else float(end) for end in data["upper"]]
    counts = data.get("count") or [1] * len(low)
    kept = [index for index, count in enumerate(counts) if count]
    return life_records(
        [low[index] for index in kept],
        [high[index] for index in kept],
        counts=[int(counts[index]) for index in kept],
    )


def fit_with_limits(inputs: Values) -> Values:
    """The cases' confidence is two-sided: each of its limits is one-sided at (1 + C) / 2."""
    records = records_of(inputs["data"])
    distribution = inputs["distribution"].upper()
    asked: Values = {
        "confidence": (1.0 + inputs["confidence"]) / 2.0,
        "at_cycles": [inputs["at"]],
        "fractions": [inputs["b_percent"] / 100.0],
    }
    fit = life_fit(records, distribution)
    ratio = likelihood_limits(records, distribution, **asked)
    assert isinstance(fit, LifeFit) and isinstance(ratio, FitLimits)
    fisher = fisher_limits(fit, **asked)
    named = weibull_names if distribution == "WEIBULL" else lognormal_names
    return {
        "loglik": fit.log_likelihood,
        **named(fit, fisher, ratio),
        "b_life": fisher.b_lives[0].estimate_cycles,
        "b_life_fisher": ends(fisher.b_lives[0]),
        "reliability": fisher.reliability[0].estimate,
        "reliability_fisher": ends(fisher.reliability[0]),
    }


def weibull_names(fit: LifeFit, fisher: FitLimits, ratio: FitLimits) -> Values:
    """The shape is 1 / spread: its logarithm has the spread's variance, the sign turned."""
    covariance = fit.covariance
    se_log_eta = math.sqrt(covariance.location_variance)
    se_log_beta = math.sqrt(covariance.log_spread_variance)
    return {
        "eta": fit.scale_cycles,
        "beta": fit.shape,
        "se_log_eta": se_log_eta,
        "se_log_beta": se_log_beta,
        "cov_log_eta_log_beta": -covariance.covariance,
        "se_eta": fit.scale_cycles * se_log_eta,
        "se_beta": fit.shape * se_log_beta,
        "eta_fisher": ends(fisher.scale_cycles),
        "beta_fisher": ends(fisher.shape),
        "eta_lr": ends(ratio.scale_cycles),
        "beta_lr": ends(ratio.shape),
    }


def lognormal_names(fit: LifeFit, fisher: FitLimits, ratio: FitLimits) -> Values:
    return {
        "mu": fit.location,
        "sigma": fit.spread,
        "se_mu": math.sqrt(fit.covariance.location_variance),
        "se_log_sigma": math.sqrt(fit.covariance.log_spread_variance),
        "mu_fisher": ends(fisher.location),
        "sigma_fisher": ends(fisher.spread),
        "mu_lr": ends(ratio.location),
        "sigma_lr": ends(ratio.spread),
    }


def ends(limits: Limits | ReliabilityLimits | BLifeLimits) -> list[float | None]:
    """Lower and upper limit; none where there is none."""
    if isinstance(limits, BLifeLimits):
        pair = (limits.lower_cycles, limits.upper_cycles)
    else:
        pair = (limits.lower, limits.upper)
    return [None if isinstance(each, NotEstimable) else each for each in pair]


METHODS: dict[str, Callable[[Values], Values]] = {
    "mle.weibull2_or_lognormal": fit_with_limits,
}
