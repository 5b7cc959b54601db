"""Published cases of life against a stress by a power law; any unit, only ratios matter."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from analysis.statistics.life_records import LifeRecords, lives_with_run_outs
from analysis.statistics.pressure_damage import equivalent_cycles
from analysis.statistics.pressure_life import exponent_limits, life_at_pressure, pressure_life_fit
from schemas.acceleration import LifeAtPressure, PressureLifeFit

Values = dict[str, Any]

# The cases speak of one B-life: that by which this fraction has failed.
FRACTION = 0.10


def lives_by_stress(inputs: Values) -> dict[float, LifeRecords]:
    stress = np.array(inputs["stress"], dtype=np.float64)
    times, failed = np.array(inputs["time"], dtype=np.float64), np.array(inputs["status"]) == 1
    return {
        float(each): lives_with_run_outs(times[stress == each], failed[stress == each])
        for each in np.unique(stress)
    }


def ipl_fit(inputs: Values) -> Values:
    fit = pressure_life_fit(lives_by_stress(inputs), measure="PEAK")
    assert isinstance(fit, PressureLifeFit), fit
    # The cases state a two-sided confidence, the product the one-sided one of each limit.
    one_sided = 0.5 * (1.0 + inputs["confidence"])
    use = life_at_pressure(
        fit, pressure_mpa=inputs["use_stress"], confidence=one_sided, fractions=[FRACTION]
    )
    assert isinstance(use, LifeAtPressure), use
    exponent = exponent_limits(fit, confidence=one_sided)
    b_life = use.b_lives[0].cycles
    return {
        "intercept": fit.intercept,
        "exponent_n": fit.exponent,
        "beta": fit.shape,
        "loglik": fit.log_likelihood,
        "se_intercept": fit.intercept_standard_error,
        "se_exponent": math.sqrt(fit.covariance.exponent_variance),
        "se_log_sigma": math.sqrt(fit.covariance.log_spread_variance),
        "exponent_fisher": [exponent.lower, exponent.upper],
        "eta_use": use.scale_cycles.estimate,
        "eta_use_fisher": [use.scale_cycles.lower, use.scale_cycles.upper],
        "b_life_use": b_life.estimate,
        "b_life_use_fisher": [b_life.lower, b_life.upper],
    }


def ipl_equivalent_cycles(inputs: Values) -> Values:
    found = equivalent_cycles(
        inputs["cycles"],
        test_pressure_mpa=inputs["test_pressure"],
        use_pressure_mpa=inputs["use_pressure"],
        exponent=inputs["exponent"],
    )
    return {
        "acceleration_factor": found.acceleration_factor,
        "equivalent_use_cycles": found.equivalent_cycles,
    }


METHODS: dict[str, Callable[[Values], Values]] = {
    "ipl.fit": ipl_fit,
    "ipl.equivalent_cycles": ipl_equivalent_cycles,
}
