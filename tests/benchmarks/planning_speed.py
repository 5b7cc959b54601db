"""
Speed of tables of demonstrations, as ratios to bisection on a general library in the same run.

Run from the top folder: ``python tests/benchmarks/planning_speed.py``. The table is that of
100 reliabilities by 100 confidences by 0 to 5 allowed failures, 60 000 cells. A bisection of
every cell would take a minute: it is timed on 40 cells drawn at random, and every cell is
checked by the general library's vectorised distribution, n and n - 1 units both. Times depend
on the machine and its load; the ratios depend on them much less.
"""

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy import stats

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.statistics.finite_lot import finite_lot_plan
from analysis.statistics.reliability_table import reliability_lower_table
from analysis.statistics.success_run import units_required
from analysis.statistics.success_table import (
    chance_of_passing_table,
    units_required_table,
)
from schemas.finite_lots import FiniteLotPlan

RELIABILITIES = np.linspace(0.80, 0.999, 100)[:, None, None]
CONFIDENCES = np.linspace(0.50, 0.99, 100)[None, :, None]
ALLOWED = np.arange(6)[None, None, :]
CELLS = 60_000
DRAWN = 40
ROUNDS = 7
LEAST_RATIO = 500
LOTS = [(500, 5, 0), (10_000, 100, 2), (1_000_000, 1000, 5), (1_000_000, 100_000, 3)]


def seconds(call: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Fastest of a few calls."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return min(times)


def smallest(passes: Callable[[int], bool], least: int, most: int | None = None) -> int:
    """Smallest number that passes, by doubling and halving."""
    low, high = least - 1, least if most is None else most
    while not passes(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if passes(middle) else (middle, high)
    return high


def by_bisection(reliability: float, confidence: float, allowed: int) -> int:
    def passes(units: int) -> bool:
        return bool(stats.binom.cdf(allowed, units, 1 - reliability) <= 1 - confidence)

    return smallest(passes, allowed + 1)


def finite_by_bisection(lot: int, acceptable: int, allowed: int, confidence: float) -> int:
    def passes(units: int) -> bool:
        chance = stats.hypergeom.cdf(allowed, lot, acceptable + 1, units)
        return bool(chance <= 1 - confidence)

    return smallest(passes, allowed + 1, lot)


def report_table() -> None:
    rng = np.random.default_rng(3)
    drawn = [
        (float(rng.choice(RELIABILITIES.ravel())), float(rng.choice(CONFIDENCES.ravel())), int(r))
        for r in rng.integers(0, 6, DRAWN)
    ]
    bisection = seconds(lambda: [by_bisection(*cell) for cell in drawn], rounds=3) / DRAWN
    single = (
        seconds(lambda: [units_required(r, c, allowed_failures=a) for r, c, a in drawn]) / DRAWN
    )
    ours = (
        seconds(lambda: units_required_table(RELIABILITIES, CONFIDENCES, allowed_failures=ALLOWED))
        / CELLS
    )
    units = units_required_table(RELIABILITIES, CONFIDENCES, allowed_failures=ALLOWED)
    risk = 1 - CONFIDENCES
    enough = stats.binom.cdf(ALLOWED, units, 1 - RELIABILITIES) <= risk * (1 + 1e-9)
    less = stats.binom.cdf(ALLOWED, units - 1, 1 - RELIABILITIES) > risk * (1 - 1e-9)
    wrong = int((~(enough & less)).sum())
    agree = sum(by_bisection(*cell) == one_cell(units, *cell) for cell in drawn)
    print(f"units_required_table, {CELLS} cells: {ours * 1e9:.0f} ns per cell")
    print(f"  bisection on scipy.stats.binom.cdf: {bisection / ours:.0f} times ours per cell")
    print(f"  units_required, one by one: {single / ours:.0f} times ours per cell")
    print(f"  wrong by scipy.stats: {wrong} of {CELLS}; agree with bisection: {agree} of {DRAWN}")
    assert wrong == 0
    assert agree == DRAWN
    assert bisection / ours >= LEAST_RATIO


def one_cell(units: np.ndarray, reliability: float, confidence: float, allowed: int) -> int:
    row = int(np.flatnonzero(RELIABILITIES.ravel() == reliability)[0])
    column = int(np.flatnonzero(CONFIDENCES.ravel() == confidence)[0])
    return int(units[row, column, allowed])


def report_others() -> None:
    counts, chances = np.arange(20, 220)[:, None], np.linspace(1e-4, 0.3, 500)[None, :]
    ours = seconds(
        lambda: chance_of_passing_table(counts, allowed_failures=2, reliability=1 - chances)
    )
    theirs = seconds(lambda: stats.binom.cdf(2, counts, chances))
    print(f"chance_of_passing_table, 200 plans x 500 points: {ours / 1e5 * 1e9:.0f} ns per point")
    print(f"  scipy.stats.binom.cdf on the same arrays: {theirs / ours:.1f} times ours")
    units, failures = np.arange(20, 520)[:, None, None], np.arange(6)[:, None]
    sure = np.linspace(0.5, 0.99, 20)
    ours = seconds(lambda: reliability_lower_table(units, failures, confidence=sure), rounds=3)
    theirs = seconds(lambda: stats.beta.isf(sure, units - failures, failures + 1), rounds=3)
    print(f"reliability_lower_table, 60000 cells: {ours / CELLS * 1e9:.0f} ns per cell")
    print(f"  scipy.stats.beta.isf on the same arrays: {theirs / ours:.1f} times ours")


def report_finite_lots() -> None:
    print("finite_lot_plan against bisection on scipy.stats.hypergeom.cdf, confidence 0.9")
    for lot, acceptable, allowed in LOTS:
        given = {"max_nonconforming": acceptable, "confidence": 0.9, "allowed_failures": allowed}
        plan = finite_lot_plan(lot, **given)
        assert isinstance(plan, FiniteLotPlan)
        ours = seconds(lambda lot=lot, given=given: finite_lot_plan(lot, **given))
        asked = (lot, acceptable, allowed, 0.9)
        theirs = seconds(lambda asked=asked: finite_by_bisection(*asked), rounds=3)
        agree = plan.unit_count == finite_by_bisection(*asked)
        print(
            f"  lot {lot}, at most {acceptable} bad, {allowed} allowed: {plan.unit_count} units,"
            f" {ours * 1e6:.0f} us, bisection {theirs / ours:.0f} times ours, agree: {agree}"
        )
        assert agree


if __name__ == "__main__":
    report_table()
    report_others()
    report_finite_lots()
