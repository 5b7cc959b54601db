"""
Speed of played sequential tests, as a ratio to one draw per unit in the same run.

Run from the top folder: ``python tests/benchmarks/sequential_speed.py``. Both ways play the
same truncated plan; their shares and the exact recursion are printed beside each other.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.statistics.sequential_exact import counted_outcome, truncated_counted_plan
from analysis.statistics.sequential_lines import sequential_lines
from analysis.statistics.sequential_simulation import simulated_outcome
from schemas.test_plans import CountedStops

GOOD, BAD = 0.995, 0.98
PLAYED, BY_UNIT, BLOCK = 1_000_000, 40_000, 10_000


def play_by_unit(plan: CountedStops, reliability: float, rng: np.random.Generator) -> float:
    """Share accepted, one draw per unit and test and running sums over all units."""
    accept_at, refuse_at = np.array(plan.accept_at), np.array(plan.reject_at)
    accepted = 0
    for _ in range(BY_UNIT // BLOCK):
        failures = np.cumsum(rng.random((BLOCK, accept_at.size)) >= reliability, axis=1)
        accepts, refuses = failures <= accept_at, failures >= refuse_at
        first = (accepts | refuses).argmax(axis=1)
        accepted += int(accepts[np.arange(BLOCK), first].sum())
    return accepted / BY_UNIT


def main() -> None:
    lines = sequential_lines(GOOD, BAD, producer_risk=0.05, consumer_risk=0.10)
    plan = truncated_counted_plan(lines, 1000, allowed_failures=12)
    for reliability in (GOOD, BAD):
        start = time.perf_counter()
        played = simulated_outcome(
            plan, reliability, test_count=PLAYED, rng=np.random.default_rng(1)
        )
        ours = (time.perf_counter() - start) / PLAYED
        start = time.perf_counter()
        share = play_by_unit(plan, reliability, np.random.default_rng(2))
        theirs = (time.perf_counter() - start) / BY_UNIT
        start = time.perf_counter()
        [exact] = counted_outcome(plan, [reliability])
        recursion = time.perf_counter() - start
        print(
            f"true reliability {reliability}: {ours * 1e9:.0f} ns per played test, "
            f"{theirs / ours:.0f} x faster than one draw per unit (goal 30); accepted "
            f"{played.chance_of_acceptance:.4f} played by gaps, {share:.4f} by units, "
            f"{exact.chance_of_acceptance:.4f} exact in {recursion * 1e3:.1f} ms"
        )


if __name__ == "__main__":
    main()
