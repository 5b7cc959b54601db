"""
A simulated year of hourly uploads: the last 100 against the first 100, as a ratio of one run.

Run from the top folder: ``python tests/benchmarks/year_of_uploads.py``. 8,760 uploads of 20
stations with 20 cycles each, 400 rows an upload and 3.5 million in all; four lots run side by
side and 44 lots run through the year. The first and the last 100 uploads go through the
workflow, lives and verdicts included; the ones between are stored as facts at once, unless
`--every` sends them too (that takes the better part of an hour). Goal: at most 2.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support"), str(ROOT / "tests" / "benchmarks")]

from history_growth import Kept  # noqa: E402
from stored_history import History, fill_history  # noqa: E402

UPLOADS, MEASURED = 8_760, 100
HISTORY = History(cycles=20, units_of_a_station=8, cycles_of_a_unit=2_000)


def main() -> None:
    """Run the year and print the ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--uploads", type=int, default=UPLOADS)
    parser.add_argument("--every", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-year-") as temporary:
        kept = Kept(Path(temporary) / "year", HISTORY, 0, lots_until=options.uploads)
        first = [kept.add_upload() for _ in range(MEASURED)]
        until = options.uploads - MEASURED
        if options.every:
            while kept.next_upload < until:
                kept.add_upload()
        else:
            fill_history(kept.store, HISTORY, until, first_upload=kept.next_upload)
            kept.next_upload = until
        last = [kept.add_upload() for _ in range(MEASURED)]
        rows = options.uploads * HISTORY.rows_of_an_upload
    print(f"{options.uploads:,} uploads, {rows:,} rows")
    for number, what in ((0, "elapsed"), (1, "processor")):
        ends = [statistics.median(each[number] for each in part) for part in (first, last)]
        total = [sum(each[number] for each in part) for part in (first, last)]
        print(
            f"{what}: median {ends[0]:.3f} s at first, {ends[1]:.3f} s at last; "
            f"100 uploads {total[0]:.1f} s and {total[1]:.1f} s, "
            f"ratio {total[1] / total[0]:.2f} (goal 2)"
        )


if __name__ == "__main__":
    main()
