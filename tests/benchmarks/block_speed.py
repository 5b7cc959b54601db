"""
Speed of blocks of counted cycles over many rows, as ratios to one scan of the same columns.

Run from the top folder: ``python tests/benchmarks/block_speed.py [rows]``. The rows are those
of the stage-one benchmark; stretches are read in parts of about a million rows, as the service
does, within 400 MB. For comparison the same blocks by a window that sorts the rows, with the
memory that it needs.
"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from reduction_builders import spec
from stage_one_speed import ROWS, SCAN, seconds, store_of

from analysis.reduction.rules import mode_parameters, stage_one_parameters, streak_text_name
from service.storage.blocks import BlocksAsked, BlockStage
from service.workflows.decay_blocks import MOST_ROWS_AT_ONCE
from service.workflows.stage_one_texts import stage_one_texts

WINDOW = """
SELECT stretch_key, number // 100, count(*), median(decay_mpa)
FROM (
    SELECT stretch_key, pressure_dwell_start_mpa - pressure_dwell_end_mpa AS decay_mpa,
        row_number() OVER (PARTITION BY stretch_key ORDER BY cycle_in_run) - 1 AS number
    FROM cycle_rows
    WHERE pressure_peak_mpa BETWEEN 31.59 AND 34.91
)
GROUP BY ALL
"""
WINDOW_MEMORY = "3GB"


def measure(name: str, rows: int, *, modulus: int = 2**40) -> None:
    with tempfile.TemporaryDirectory() as folder:
        db = store_of(folder, rows, spikes=0.0, modulus=modulus)
        _, scan = seconds(lambda: db.execute(SCAN).fetchall())
        keys = [
            row[0]
            for row in db.execute(
                "SELECT DISTINCT stretch_key FROM cycle_rows ORDER BY 1"
            ).fetchall()
        ]
        at_once = max(len(keys) * MOST_ROWS_AT_ONCE // rows, 1)
        parameters = stage_one_parameters(spec(), 60.0) | mode_parameters([1])
        print(f"{name}: one scan, processor {scan:.2f} s")

        def read(with_details: bool) -> None:
            for first in range(0, len(keys), at_once):
                stage = BlockStage(db, stage_one_texts(), parameters, streak_text_name(spec()))
                stage.read(
                    BlocksAsked(
                        stretch_keys=keys[first : first + at_once],
                        conflicting=(),
                        falling=(),
                        block_cycles=100,
                        with_details=with_details,
                    )
                )

        for with_details in (False, True):
            _, used = seconds(read, with_details)
            said = "decay, peak and rise time" if with_details else "decay"
            print(f"  blocks of {said}: processor {used:.2f} s, {used / scan:.1f} scans")
        db.execute(f"SET memory_limit = '{WINDOW_MEMORY}'")
        _, used = seconds(lambda: db.execute(WINDOW).fetchall())
        print(f"  by a window ({WINDOW_MEMORY}): processor {used:.2f} s, {used / scan:.1f} scans")
        db.close()


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else ROWS
    print(f"{rows:,} rows")
    measure("Counters without a reset", rows)
    measure("Counters wrap at 65,535", rows, modulus=65_536)


if __name__ == "__main__":
    main()
