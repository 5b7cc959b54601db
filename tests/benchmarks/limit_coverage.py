"""
How often 90 % lower limits of the B10 life truly hold: the table of `limit_advice`, anew.

Run from the top folder: ``python tests/benchmarks/limit_coverage.py [lots per row]``; 20 000
lots take about a minute. Differences are in standard errors of the two simulations together.
"""

import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support")]

from limit_simulation import coverage  # noqa: E402

from analysis.statistics.limit_advice import COVERAGE_TABLE  # noqa: E402

LOTS = 20_000


def main(lot_count: int) -> None:
    print("units failures  Fisher   s.e.   off  ratio    s.e.   off  without a fit")
    for row in COVERAGE_TABLE:
        found = coverage(row.unit_count, lot_count, np.random.default_rng(row.unit_count))
        cells = []
        for share, listed, listed_error in (
            (found.fisher_log, row.fisher_log, row.fisher_log_standard_error),
            (found.likelihood_ratio, row.likelihood_ratio, row.likelihood_ratio_standard_error),
        ):
            error = found.standard_error(share)
            off = (share - listed) / (error**2 + listed_error**2) ** 0.5
            cells.append(f"{share:.4f} {error:.4f} {off:+5.1f}")
        print(
            f"{row.unit_count:5d} {row.expected_failure_count:8d}  {'  '.join(cells)}"
            f"  {100 * found.without_maximum_share:.2f} %"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else LOTS)
