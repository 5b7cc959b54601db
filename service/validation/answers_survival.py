"""Published cases of survival curves without an assumed distribution."""

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis.statistics.life_records import lives_with_run_outs
from analysis.statistics.survival_curve import kaplan_meier, nelson_aalen
from schemas.estimates import NotEstimable
from schemas.survival import HazardCurve, SurvivalCurve

Values = dict[str, Any]


def number_or_none(value: Any, name: str | None = None) -> float | None:
    """The number, or None where the answer is that there is none."""
    if isinstance(value, NotEstimable):
        return None
    number: float = value if name is None else getattr(value, name)
    return number


def nonparametric_km_na(inputs: Values) -> Values:
    data = inputs["data"]
    records = lives_with_run_outs(
        data["time"], np.array(data["status"]) == 1, counts=data.get("count")
    )
    # The cases state a two-sided confidence, the product the one-sided one of each limit.
    one_sided = 0.5 * (1.0 + inputs["confidence"])
    survival = kaplan_meier(records, confidence=one_sided)
    hazard = nelson_aalen(records, confidence=one_sided)
    assert isinstance(survival, SurvivalCurve) and isinstance(hazard, HazardCurve)
    return {
        "rows": [
            {
                "time": step.cycles,
                "at_risk": step.at_risk,
                "events": step.failures,
                "survival": step.survival,
                "cum_hazard_na": rise.cumulative_hazard,
                "na_se_poisson": rise.standard_error,
                "na_lower_log": rise.limits.lower,
                "na_upper_log": rise.limits.upper,
                "greenwood_se": number_or_none(step.standard_error),
                "plain_lower": number_or_none(step.plain_limits, "lower"),
                "plain_upper": number_or_none(step.plain_limits, "upper"),
                "loglog_lower": number_or_none(step.log_log_limits, "lower"),
                "loglog_upper": number_or_none(step.log_log_limits, "upper"),
            }
            for step, rise in zip(survival.steps, hazard.steps, strict=True)
        ]
    }


METHODS: dict[str, Callable[[Values], Values]] = {"nonparametric.km_na": nonparametric_km_na}
