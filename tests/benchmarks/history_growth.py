"""
What a large history costs: an upload, a new set of rules and a first look, as ratios of one run.

Run from the top folder: ``python tests/benchmarks/history_growth.py``. Options `--rows 1e8`,
`--lots-at-once 4`, `--folder F` (keeps the stores, and uses what lies there). Three stores are made
by tests/support/stored_history.py: about 1 million rows, `--rows` of the same kind, and one
lot of 2.4 million rows alone. Then in turn, five times:

- an upload of 28,800 rows through the workflow, lives and verdict included: large store against
  small (goal: at most 3);
- a lot of 2.4 million rows evaluated under rules that nothing is kept for: out of the large store
  against alone (goal: at most 3);
- the first evaluation after an upload without a kept one, against one SELECT of the lot's
  lives (goal: at most 3 x it plus 10 ms), and the same where the lot's facts are read anew.

Units are of about the same age in the small and the large store. Processor seconds are told
because they depend less on what else the machine does.
"""

from __future__ import annotations

import argparse
import asyncio
import statistics
import sys
import tempfile
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support")]

from lots_by_hand import lot_id_of  # noqa: E402
from reduction_builders import spec  # noqa: E402
from stored_history import (  # noqa: E402
    History,
    approved_spec,
    fill_history,
    prepare_lots,
    write_upload,
)

from service.settings import Settings  # noqa: E402
from service.storage.memos import forget_all  # noqa: E402
from service.storage.store import Store  # noqa: E402
from service.tokens import Actor  # noqa: E402
from service.workflows.evaluate_lot import evaluate  # noqa: E402
from service.workflows.reduce_lot import read_lot  # noqa: E402
from service.workflows.take_upload import Uploads  # noqa: E402

MEMORY_LIMIT, THREADS, ROUNDS = "400MB", 2, 5
SMALL_UPLOADS, LOT_UPLOADS = 35, 334
ACTOR = Actor(name="Benchmark", kind="SYSTEM", scopes=frozenset({"admin"}))
Seconds = tuple[float, float]


def timed(call: Callable[[], Any]) -> Seconds:
    """Elapsed and processor seconds of a call."""
    wall, processor = time.perf_counter(), time.process_time()
    call()
    return time.perf_counter() - wall, time.process_time() - processor


class Kept:
    """A store with a history, to which uploads can be added."""

    def __init__(
        self, folder: Path, history: History, upload_count: int, *, lots_until: int | None = None
    ) -> None:
        self.history = history
        is_new = not (folder / "lotproof.duckdb").exists()
        self.store = Store.open(folder, memory_limit=MEMORY_LIMIT, threads=1 if is_new else THREADS)
        if is_new:
            fill_history(self.store, history, upload_count)
            version = approved_spec(self.store, spec())
            prepare_lots(self.store, history, lots_until or upload_count + 2 * ROUNDS, version)
            approved_spec(self.store, spec(spec_id="CC25-Q2", conditions=OTHER_LIMITS))
            self.store.close()
            self.store = Store.open(folder, memory_limit=MEMORY_LIMIT, threads=THREADS)
        self.next_upload = self._stored_uploads()
        settings = Settings(data_directory=folder)
        self.uploads = Uploads(self.store, settings, lambda: history.received_at(self.next_upload))

    def _stored_uploads(self) -> int:
        count = "SELECT coalesce(max(upload_key), 0) FROM uploads"
        return int(self.store.read_now(lambda db: db.execute(count).fetchall())[0][0])

    def add_upload(self) -> Seconds:
        """Send the next upload through the workflow; its time, the file not included."""
        path = self.store.data_directory / "next.parquet"
        write_upload(self.history, self.next_upload, path)
        body = path.read_bytes()

        async def pieces() -> AsyncIterator[bytes]:
            yield body

        async def take() -> None:
            receipt, _ = await self.uploads.take(pieces(), ACTOR, content_digest=None)
            assert receipt.stored_rows == self.history.rows_of_an_upload

        taken = timed(lambda: asyncio.run(take()))
        self.next_upload += 1
        return taken

    def reduce_anew(self, lot_number: str) -> Seconds:
        """Evaluate a lot under other rules; what-ifs keep nothing."""
        lot_id = lot_id_of(self.store, lot_number)
        self.store.read_now(lambda db: read_lot(db, lot_id, "CC25-Q2:1"))
        return timed(lambda: self.store.read_now(lambda db: evaluate(db, lot_id, "CC25-Q2:1")))

    def first_look(self, lot_number: str) -> tuple[float, float, float]:
        """Milliseconds of a look, of one that reads the facts anew, of one SELECT of the lives."""
        lot_id = lot_id_of(self.store, lot_number)
        self.store.write_now(lambda db: evaluate(db, lot_id, keep=True), changes_facts=False)
        forget = ("lot_evaluations",)
        looks = []
        for changes_facts in (False, True):
            reading = self.store.read_now(lambda db: read_lot(db, lot_id))
            self.store.write_now(lambda db: forget_all(db, forget), changes_facts=changes_facts)
            look, _ = timed(lambda: self.store.read_now(lambda db: evaluate(db, lot_id)))
            looks.append(1000 * look)
        values = {"lot_key": reading.facts.lot_key, "key": reading.lives_key}
        text = "SELECT body FROM lot_lives WHERE lot_key = $lot_key AND lives_key = $key"
        select, _ = timed(
            lambda: self.store.read_now(lambda db: db.execute(text, values).fetchall())
        )
        return looks[0], looks[1], 1000 * select


OTHER_LIMITS = {"pressure_lower_mpa": 31.5, "fluid_temperature_max_c": 54.0}


def told(name: str, large: list[Seconds], small: list[Seconds]) -> None:
    """Medians of elapsed, smallest of processor seconds, and their ratios."""
    walls = [statistics.median(each[0] for each in times) for times in (large, small)]
    used = [min(each[1] for each in times) for times in (large, small)]
    print(
        f"{name}: {walls[0]:.2f} s against {walls[1]:.2f} s, ratio {walls[0] / walls[1]:.2f}; "
        f"processor {used[0]:.2f} s against {used[1]:.2f} s, ratio {used[0] / used[1]:.2f} "
        "(goal 3)",
        flush=True,
    )


def main() -> None:
    """Build what is missing, run, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=float, default=1e8)
    parser.add_argument("--lots-at-once", type=int, default=4)
    parser.add_argument("--folder", type=Path)
    options = parser.parse_args()
    history = History(lots_at_once=options.lots_at_once)
    upload_count = int(options.rows) // history.rows_of_an_upload
    with tempfile.TemporaryDirectory(prefix="bench-history-") as temporary:
        folder = options.folder or Path(temporary)
        alone = History(lots_at_once=options.lots_at_once, only_lot=0)
        small = Kept(folder / "small", history, SMALL_UPLOADS)
        lot = Kept(folder / "alone", alone, LOT_UPLOADS * options.lots_at_once // 4)
        large = Kept(folder / "large", history, upload_count)
        middle = history.lot_numbers(len(history.waves(upload_count)) // 2)[0]
        running = history.lot_numbers(large.next_upload * history.cycles // 60_000)[0]
        uploads, anew, looks = [], [], []
        for _ in range(ROUNDS):
            uploads.append((large.add_upload(), small.add_upload()))
            anew.append((large.reduce_anew(middle), lot.reduce_anew("CC25-0000")))
            looks.append(large.first_look(running))
        told("upload of 28,800 rows", [each[0] for each in uploads], [each[1] for each in uploads])
        told("one lot under new rules", [each[0] for each in anew], [each[1] for each in anew])
        look, unread, select = (statistics.median(column) for column in zip(*looks, strict=True))
        print(
            f"first look {look:.1f} ms, with facts read anew {unread:.1f} ms, "
            f"SELECT {select:.1f} ms, goal 3 x it + 10 = {3 * select + 10:.1f} ms"
        )


if __name__ == "__main__":
    main()
