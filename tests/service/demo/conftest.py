"""The demo's lots written once, and a slow reading of their rows that shares no code with them."""

import json
import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, TypeAlias

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from service.demo.bundle import LotBundle, write_bundle
from service.demo.lots import DEMO_LOTS, lot

DEMO_SCALE = 0.05
TableOf: TypeAlias = Callable[[LotBundle], pa.Table]

_READ_BY_HAND = (
    "unit_serial",
    "sensor_id",
    "station_mode",
    "stop_reason",
    "pressure_peak_mpa",
    "pressure_low_mpa",
    "pressure_dwell_start_mpa",
    "pressure_dwell_end_mpa",
    "rise_time_s",
    "dwell_time_s",
    "fluid_temperature_c",
)


@pytest.fixture(scope="session")
def demo_lots(tmp_path_factory: pytest.TempPathFactory) -> dict[str, LotBundle]:
    """All lots of the demo at its scale."""
    folder = tmp_path_factory.mktemp("demo")
    return {
        number: write_bundle(lot(number), folder / number, scale=DEMO_SCALE, said=lambda file: None)
        for number in DEMO_LOTS
    }


@pytest.fixture(scope="session")
def table_of() -> TableOf:
    """All new rows of a lot, by station in the order of its odometer; instants as integers."""

    def read(bundle: LotBundle) -> pa.Table:
        paths = [bundle.folder / file.name for file in bundle.files if file.kind == "NEW"]
        table = pa.concat_tables(pq.read_table(path) for path in paths).unify_dictionaries()
        plain = [
            pa.field(field.name, pa.string() if pa.types.is_dictionary(field.type) else field.type)
            for field in table.schema
        ]
        started = plain[table.schema.get_field_index("started_at")]
        plain[table.schema.get_field_index("started_at")] = started.with_type(pa.int64())
        return table.cast(pa.schema(plain)).sort_by(
            [(name, "ascending") for name in ("rig_id", "station_no", "station_cycle_total")]
        )

    return read


@pytest.fixture(scope="session")
def lives_by_hand(
    demo_lots: dict[str, LotBundle], table_of: TableOf
) -> dict[str, dict[str, dict[str, Any]]]:
    """Every unit's cycles counted row by row, straight from the written conditions."""
    return {number: _lives(rows(table_of(bundle))) for number, bundle in demo_lots.items()}


def rows(table: pa.Table) -> Iterator[dict[str, Any]]:
    """The columns that the conditions speak of, row by row."""
    columns = [table.column(name).to_pylist() for name in _READ_BY_HAND]
    return (dict(zip(_READ_BY_HAND, row, strict=True)) for row in zip(*columns, strict=True))


def _lives(rows: Iterator[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    lives: dict[str, dict[str, Any]] = {}
    for row in rows:
        life = lives.setdefault(
            row["unit_serial"], {"logged": 0, "counted": 0, "by": {}, "over": 0, "failed_at": None}
        )
        is_wrong = (row["unit_serial"][:3], row["sensor_id"]) == ("L05", "RIG-B-P04")
        life.setdefault("counted_as_corrected", 0 if is_wrong else None)
        life["logged"] += 1
        life["last_reason"] = row["stop_reason"]
        reason = _why_not(row)
        if reason:
            life["by"][reason] = life["by"].get(reason, 0) + 1
            continue
        life["counted"] += 1
        # It reads 6 % high: what it shows as the lower edge of the band is below it.
        if is_wrong and row["pressure_peak_mpa"] / 1.06 >= 31.59:
            life["counted_as_corrected"] += 1
        decay = row["pressure_dwell_start_mpa"] - row["pressure_dwell_end_mpa"]
        life["over"] = life["over"] + 1 if decay > 0.60 else 0
        if life["over"] == 5 and life["failed_at"] is None:
            life["failed_at"] = life["counted"] - 4
    return lives


def _why_not(row: dict[str, Any]) -> str | None:
    """The first condition of the specification that a cycle misses."""
    if row["station_mode"] != "TEST":
        return "MODE"
    if row["pressure_peak_mpa"] > 34.91:
        return "OVER_PRESSURE"
    if row["pressure_peak_mpa"] < 31.59:
        return "UNDER_PRESSURE"
    if row["pressure_low_mpa"] > 0.15:
        return "TROUGH_HIGH"
    if row["rise_time_s"] > 0.40:
        return "RISE_SLOW"
    if row["dwell_time_s"] < 1.45:
        return "DWELL_SHORT"
    return None if 37.0 <= row["fluid_temperature_c"] <= 53.0 else "TEMPERATURE"


class StubService:
    """Answers like the service, remembers what it was told, computes nothing."""

    def __init__(self) -> None:
        self.requests: list[tuple[str, str, dict[str, str], bytes]] = []
        self.answers: dict[str, tuple[int, Any]] = {}
        self.evaluations: dict[str, dict[str, Any]] = {}
        self.earlier: dict[str, dict[str, Any]] = {}

    def answer(self, method: str, path: str, body: bytes) -> tuple[int, Any]:
        """Status and content for one request."""
        if path in self.answers:
            return self.answers[path]
        if path == "/v1/specs":
            return 201, {"version": 1, "state": "DRAFT", "spec": json.loads(body)}
        if path == "/v1/lots":
            return 201, {"lot_id": f"lot_{json.loads(body)['lot_number']}"}
        if path.endswith("/evaluation"):
            number = path.split("/")[3].removeprefix("lot_")
            told = any("/v1/calibrations" in request[1] for request in self.requests)
            return 200, (self.evaluations if told else self.evaluations | self.earlier)[number]
        return (200 if method == "GET" else 201), {}

    @property
    def paths(self) -> list[str]:
        """Method and path of every request, in order."""
        return [f"{method} {path}" for method, path, _, _ in self.requests]


@pytest.fixture
def stub() -> Iterator[tuple[StubService, str]]:
    """A stub of the service on a free port of this computer, and its address."""
    service = StubService()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"
        disable_nagle_algorithm = True  # else every answer waits for a delayed acknowledgement

        def handle_any(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            service.requests.append((self.command, self.path, dict(self.headers), body))
            status, content = service.answer(self.command, self.path, body)
            text = json.dumps(content).encode()
            self.send_response(status)
            self.send_header("Content-Length", str(len(text)))
            self.end_headers()
            self.wfile.write(text)

        do_GET = do_POST = do_PUT = handle_any

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield service, f"http://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def earlier_evaluations() -> dict[str, dict[str, Any]]:
    """What is right to say of lots before a sensor of theirs is found out."""
    answers = {}
    for number in DEMO_LOTS:
        said = lot(number).right_answer.verdict_before
        if said is not None:
            answers[number] = right_evaluation(number) | {"verdict": said, "holds": []}
    return answers


def right_evaluation(number: str) -> dict[str, Any]:
    """An evaluation that says what is true of a lot of the demo."""
    truth = lot(number).right_answer
    answer: dict[str, Any] = {
        "verdict": truth.verdict,
        "robust_to_open_holds": True,
        "reasons": [{"code": "PLAN_NOT_FINISHED"}] if truth.verdict == "CONTINUE" else [],
        "holds": [{"name": name, "hold_id": "hold_1"} for name in truth.open_holds or ()],
        "requirements": [
            {
                "verdict": truth.verdict,
                "variables": {
                    "reliability_lower_worst": truth.reliability_lower or 0.6,
                    "target_lives_worst": 48.0,
                    "target_lives_required": 44.89,
                },
            }
        ],
        "units": [],
    }
    return answer | ({"kind": truth.kind} if truth.kind else {})


@pytest.fixture
def right_evaluations() -> dict[str, dict[str, Any]]:
    """Right answers to every lot of the demo."""
    return {number: right_evaluation(number) for number in DEMO_LOTS}


@pytest.fixture
def right_evaluations_before() -> dict[str, dict[str, Any]]:
    """Right answers before a sensor was found out, to the lots where that changes them."""
    return earlier_evaluations()
