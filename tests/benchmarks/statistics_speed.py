"""
Speed of the fit and of the planning, as ratios to general libraries in the same run.

Run from the top folder: ``python tests/benchmarks/statistics_speed.py``. Times depend on the
machine and its load; the ratios depend on them much less. A library's fit is timed for speed
only; where it ends at a lower likelihood than ours that is counted and printed.
"""

import io
import sys
import time
from collections.abc import Callable
from contextlib import redirect_stdout
from pathlib import Path
from statistics import median

import numpy as np
from scipy import stats

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.statistics.success_run import units_required
from analysis.statistics.weibull import weibull_fit
from schemas.estimates import WeibullFit

UNITS = 30
LOTS = 20
LOST_LIKELIHOOD = 1e-6
PLANS = [(0.9, 0.9, 0), (0.95, 0.9, 1), (0.99, 0.95, 4), (0.999, 0.9, 2), (0.999999, 0.9, 3)]

Lot = tuple[np.ndarray, np.ndarray]


def draw_lots(seed: int) -> list[Lot]:
    """Lots of one shape whose units stop at the life that 30 % of them do not reach."""
    rng = np.random.default_rng(seed)
    lots = []
    for _ in range(LOTS):
        lives = 200_000 * rng.weibull(2.0, UNITS)
        stop = np.sort(lives)[9]
        lots.append((np.minimum(lives, stop), lives < stop))
    return lots


def seconds_each(call: Callable[..., object], arguments: list[tuple], repeats: int) -> float:
    """Median over the arguments of the fastest of `repeats` calls."""
    fastest = []
    for given in arguments:
        times = []
        for _ in range(repeats):
            start = time.perf_counter()
            call(*given)
            times.append(time.perf_counter() - start)
        fastest.append(min(times))
    return median(fastest)


def fit_by_scipy(lives: np.ndarray, failed: np.ndarray) -> tuple[float, float]:
    data = stats.CensoredData(lives[failed], right=lives[~failed])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    return float(scale), float(shape)


def fit_by_reliability(lives: np.ndarray, failed: np.ndarray) -> tuple[float, float]:
    from reliability.Fitters import Fit_Weibull_2P  # slow to import: only when it is timed

    with redirect_stdout(io.StringIO()):
        fit = Fit_Weibull_2P(
            failures=lives[failed],
            right_censored=lives[~failed],
            show_probability_plot=False,
            print_results=False,
        )
    return float(fit.alpha), float(fit.beta)


def log_likelihood(lot: Lot, scale: float, shape: float) -> float:
    lives, failed = lot
    life = stats.weibull_min(shape, scale=scale)
    return float(life.logpdf(lives[failed]).sum() + life.logsf(lives[~failed]).sum())


def units_by_bisection(reliability: float, confidence: float, allowed: int) -> int:
    """The same search on a general binomial distribution."""
    low, high = allowed, allowed + 1
    while stats.binom.cdf(allowed, high, 1 - reliability) > 1 - confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if stats.binom.cdf(allowed, middle, 1 - reliability) > 1 - confidence:
            low = middle
        else:
            high = middle
    return high


def units_by_us(reliability: float, confidence: float, allowed: int) -> int:
    return units_required(reliability, confidence, allowed_failures=allowed)


def report_fits() -> None:
    lots = draw_lots(seed=1)
    ours = seconds_each(weibull_fit, lots, repeats=50)
    print(f"weibull_fit, {UNITS} units, 9 failures: {ours * 1e6:.0f} us")
    for name, call in (("scipy", fit_by_scipy), ("reliability", fit_by_reliability)):
        call(*lots[0])
        theirs = seconds_each(call, lots, repeats=2)
        short = 0
        for lot in lots:
            fit = weibull_fit(*lot)
            assert isinstance(fit, WeibullFit)
            lost = fit.log_likelihood - log_likelihood(lot, *call(*lot))
            assert lost > -LOST_LIKELIHOOD, f"{name} found a more likely point: {lot}"
            short += lost > LOST_LIKELIHOOD
        print(
            f"  {name}: {theirs * 1e3:.1f} ms, {theirs / ours:.0f} times ours;"
            f" short of the maximum on {short} of {LOTS} lots"
        )


def report_plans() -> None:
    print("units_required against a bisection on scipy.stats.binom.cdf")
    for plan in PLANS:
        assert units_by_us(*plan) == units_by_bisection(*plan), plan
        ours = seconds_each(units_by_us, [plan], repeats=200)
        theirs = seconds_each(units_by_bisection, [plan], repeats=5)
        print(
            f"  R {plan[0]}, C {plan[1]}, {plan[2]} allowed: {ours * 1e6:.0f} us,"
            f" bisection {theirs / ours:.0f} times ours"
        )


if __name__ == "__main__":
    report_fits()
    report_plans()
