"""
A large upload through HTTP against a bare load of the same file, as ratios of one run.

    python tests/benchmarks/upload_to_receipt.py [--rows 10000000] [--rounds 5] [--file F]

Contenders alternate; medians are compared. A round of ours: a fresh data directory, the
service as its own process, rig, specification, lot and sample told, then the file posted over
loopback until the receipt (original kept and fsynced, rows stored, lives made). A round of the
floor: a fresh database file, `INSERT ... SELECT` of the same columns, text as VARCHAR, order
kept, the same threads and memory limit, checkpoint included. Printed: both times, their ratio
(goal: at most 1.5), the service's peak memory (goal: at most 600 MB), and the first evaluation
without a kept one against one SELECT of the lot's lives (goal: at most 3 x it plus 10 ms).
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from service.storage.memos import forget_all  # noqa: E402
from service.storage.store import Store  # noqa: E402
from service.workflows.evaluate_lot import evaluate  # noqa: E402
from service.workflows.reduce_lot import read_lot  # noqa: E402

MEMORY_LIMIT = "400MB"
THREADS = 2
PARQUET = "application/vnd.apache.parquet"

FLOOR = """
import sys, time, duckdb
path, folder, memory, threads = sys.argv[1:]
db = duckdb.connect(folder + "/floor.duckdb")
db.execute("SET memory_limit = '" + memory + "'; SET threads = " + threads)
db.execute("SET temp_directory = '" + folder + "/temp'")
db.execute("SET enable_progress_bar = false")
kinds = db.execute("DESCRIBE SELECT * FROM read_parquet(?)", [path]).fetchall()
told = [(name, "VARCHAR" if "ENUM" in kind else kind) for name, kind, *_ in kinds]
columns = ", ".join(name + " " + kind for name, kind in told)
db.execute("CREATE TABLE cycles (" + columns + ")")
begun = time.perf_counter()
db.execute("INSERT INTO cycles SELECT * FROM read_parquet(?)", [path])
db.execute("CHECKPOINT")
print(time.perf_counter() - begun)
"""


def floor_seconds(path: Path) -> float:
    """One bare load in a process of its own."""
    with tempfile.TemporaryDirectory(prefix="bench-floor-") as folder:
        command = [sys.executable, "-c", FLOOR, str(path), folder, MEMORY_LIMIT, str(THREADS)]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        return float(done.stdout)


class Served:
    """The service as its own process on a fresh folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        environment = {
            **os.environ,
            "LOTPROOF_MEMORY_LIMIT": MEMORY_LIMIT,
            "LOTPROOF_THREAD_COUNT": str(THREADS),
        }
        serve = ["-m", "service", "serve", "--data", str(folder), "--port", str(self.port)]
        self.process = subprocess.Popen(
            [sys.executable, *serve], cwd=ROOT, env=environment, stderr=subprocess.PIPE
        )
        self._wait()
        make = ["-m", "service", "token", "create", "--data", str(folder), "--name", "bench"]
        made = subprocess.run(
            [sys.executable, *make, "--scope", "admin"],
            cwd=ROOT,
            check=True,
            capture_output=True,
            text=True,
        )
        self.token = made.stdout.strip()

    def _wait(self) -> None:
        for _ in range(300):
            try:
                connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=5)
                connection.request("GET", "/readyz")
                if connection.getresponse().status == 200:
                    return
            except OSError:
                pass
            time.sleep(0.1)
        raise RuntimeError("the service did not become ready")

    def send(self, method: str, path: str, body: Any, kind: str = "application/json") -> Any:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=900)
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": kind}
        if kind == "application/json":
            body = None if body is None else json.dumps(body)
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        text = answer.read()
        assert answer.status in (200, 201), (answer.status, text[:500])
        return json.loads(text)

    def peak_memory_mb(self) -> float:
        status = Path(f"/proc/{self.process.pid}/status").read_text("utf-8")
        line = next(line for line in status.splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1024

    def stop(self) -> None:
        self.process.terminate()
        self.process.communicate(timeout=120)


def tell(served: Served, setup: dict[str, Any]) -> str:
    """What counts, and the sample, before the rows; the lot's id."""
    for rig_id, settings in setup["rigs"].items():
        served.send("PUT", f"/v1/rigs/{rig_id}", settings)
    (spec,) = setup["specs"]
    version = served.send("POST", "/v1/specs", spec)
    served.send(
        "PUT",
        f"/v1/specs/{spec['spec_id']}/versions/{version['version']}/approval",
        {"meaning": "approved", "reason": "benchmark"},
    )
    (lot,) = setup["lots"]
    body = {"lot_number": lot["lot_number"], "part_number": setup["part_number"]}
    lot_id = str(served.send("POST", "/v1/lots", body)["lot_id"])
    served.send("POST", f"/v1/lots/{lot_id}/units", {"units": lot["units"]})
    assignment = {"spec_id": spec["spec_id"], "version": 1, "reason": "benchmark"}
    served.send("POST", f"/v1/lots/{lot_id}/assignments", assignment)
    return lot_id


def our_round(path: Path, setup: dict[str, Any], folder: Path) -> tuple[float, float, str]:
    """Seconds to receipt, peak memory in MB, lot id."""
    served = Served(folder)
    try:
        lot_id = tell(served, setup)
        begun = time.perf_counter()
        with path.open("rb") as file:
            receipt = served.send("POST", "/v1/uploads", file, PARQUET)
        seconds = time.perf_counter() - begun
        assert receipt["stored_rows"] == receipt["row_count"]
        return seconds, served.peak_memory_mb(), lot_id
    finally:
        served.stop()


def look_milliseconds(folder: Path, lot_id: str) -> tuple[float, float]:
    """First evaluation without a kept one, and one SELECT of the lot's lives."""
    store = Store.open(folder, memory_limit=MEMORY_LIMIT, threads=THREADS)
    try:
        reading = store.read_now(lambda db: read_lot(db, lot_id))
        values = {"lot_key": reading.facts.lot_key, "key": reading.lives_key}
        statement = "SELECT body FROM lot_lives WHERE lot_key = $lot_key AND lives_key = $key"
        selects, looks = [], []
        for _ in range(9):
            begun = time.perf_counter()
            (row,) = store.read_now(lambda db: db.execute(statement, values).fetchall())
            selects.append(time.perf_counter() - begun)
            assert row[0]
            store.write_now(lambda db: forget_all(db, ("lot_evaluations",)), changes_facts=False)
            begun = time.perf_counter()
            store.read_now(lambda db: evaluate(db, lot_id))
            looks.append(time.perf_counter() - begun)
        return 1000 * statistics.median(looks), 1000 * statistics.median(selects)
    finally:
        store.close()


def main() -> None:
    """Run the rounds and print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--rows", type=int, default=10_000_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--folder", type=Path, help="of a file that was generated before")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-upload-") as temporary:
        folder = options.folder or Path(temporary) / "lot"
        if options.folder is None:
            make = ["generate", "--lot", "L01", "--rows", str(options.rows), "--scale", "1.0"]
            command = [sys.executable, "-m", "service", *make, "--out", str(folder)]
            subprocess.run(command, cwd=ROOT, check=True)
        (path,) = folder.glob("*.parquet")
        setup = json.loads((folder / "setup.json").read_text("utf-8"))
        ours, floors, peaks = [], [], []
        looks = selects = 0.0
        for number in range(options.rounds):
            data = Path(temporary) / f"data{number}"
            seconds, peak, lot_id = our_round(path, setup, data)
            floors.append(floor_seconds(path))
            ours.append(seconds)
            peaks.append(peak)
            looks, selects = look_milliseconds(data, lot_id)
            print(
                f"round {number + 1}: ours {seconds:.2f} s, floor {floors[-1]:.2f} s, "
                f"ratio {seconds / floors[-1]:.2f}, peak {peak:.0f} MB",
                flush=True,
            )
        ratio = statistics.median(ours) / statistics.median(floors)
        print(
            f"median: ours {statistics.median(ours):.2f} s, floor "
            f"{statistics.median(floors):.2f} s, ratio {ratio:.2f} (goal 1.5)"
        )
        print(f"peak memory of the service: {max(peaks):.0f} MB (goal 600)")
        print(
            f"first evaluation {looks:.1f} ms, SELECT of the lives {selects:.1f} ms, "
            f"goal 3 x it + 10 = {3 * selects + 10:.1f} ms"
        )


if __name__ == "__main__":
    main()
