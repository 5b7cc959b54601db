"""
Speed of the prior's integral and of the chance of passing, as ratios in the same run.

Run from the top folder: ``python tests/benchmarks/prior_speed.py``. The ratios compare with
general routines that give the same number: nested adaptive quadrature, and the beta-binomial
distribution of scipy.stats.
"""

import math
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy import integrate, optimize, stats

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.statistics.beta_prior import beta_prior, chance_of_passing
from analysis.statistics.life_records import lives_with_run_outs
from analysis.statistics.shape_prior import reliability_with_shape_prior, uniform_shape_prior
from schemas.priors import ShapePriorLimit

TARGET, LOW, HIGH, PROBABILITY = 100_000.0, 1.5, 3.0, 0.9
LIVES = np.array([150_000.0, 90_000.0] + [200_000.0] * 18)
FAILED = np.array([True, True] + [False] * 18)


def seconds(call: Callable[[], float], repeats: int) -> tuple[float, float]:
    """Fastest of the repeats, in processor time, and the answer."""
    fastest, answer = math.inf, math.nan
    for _ in range(repeats):
        start = time.process_time()
        answer = call()
        fastest = min(fastest, time.process_time() - start)
    return fastest, answer


def limit_by_us() -> float:
    answer = reliability_with_shape_prior(
        lives_with_run_outs(LIVES, FAILED),
        TARGET,
        shape_prior=uniform_shape_prior(LOW, HIGH),
        reliability=0.9,
        probability=PROBABILITY,
    )
    assert isinstance(answer, ShapePriorLimit)
    return answer.reliability_credible_lower


def limit_by_nested_quadrature() -> float:
    ratios = LIVES / TARGET

    def density(rate: float, shape: float) -> float:
        survival = math.exp(-rate * float((ratios**shape).sum()))
        return survival * float(np.prod(shape * rate * ratios[FAILED] ** (shape - 1.0)))

    def mass(most_rate: float) -> float:
        return float(
            integrate.dblquad(density, LOW, HIGH, 0.0, most_rate, epsabs=0.0, epsrel=1e-7)[0]
        )

    whole = mass(3.0)
    rate = optimize.brentq(
        lambda most: mass(most) / whole - PROBABILITY, 1e-3, 1.0, xtol=1e-9, rtol=1e-9
    )
    return math.exp(-rate)


def main() -> None:
    ours, limit = seconds(limit_by_us, 20)
    theirs, other = seconds(limit_by_nested_quadrature, 1)
    print(
        f"limit with the shape integrated out: {ours * 1e3:.1f} ms, nested quadrature "
        f"{theirs / ours:.0f} times ours; {limit:.8f} and {other:.8f}"
    )
    for units, allowed in ((22, 0), (1_000, 10), (100_000, 500)):

        def by_us(units: int = units, allowed: int = allowed) -> float:
            return chance_of_passing(beta_prior(46, 2), units, allowed_failures=allowed).chance

        def by_scipy(units: int = units, allowed: int = allowed) -> float:
            return float(stats.betabinom.cdf(allowed, units, 2, 46))

        ours, chance = seconds(by_us, 20)
        theirs, other = seconds(by_scipy, 5)
        print(
            f"chance of passing {units} units with {allowed} allowed: {ours * 1e6:.0f} us, "
            f"scipy.stats {theirs / ours:.1f} times ours; {chance:.10f} and {other:.10f}"
        )


if __name__ == "__main__":
    main()
