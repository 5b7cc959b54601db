"""The baseline of the nasty cases: twelve units of the invented cylinder, run to two target lives.

Every count of the scenario is divided by 200: target 500, planned 1,000 counted cycles.
Reliabilities at a given shape do not depend on that scale.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from scipy import stats
from service_client import ServiceClient

SCALE = 200
TARGET, PLANNED = 100_000 // SCALE, 200_000 // SCALE
LOT = "CC25-0117"
SERIALS = [f"U{n:02}" for n in range(1, 13)]
FIRST_START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
STOP_CODES = {
    "COUNT_MET": "TARGET_REACHED",
    "GUARD": "RIG_STOP",
    "LOW_OIL": "LOW_FLUID",
    "SHIFT_END": "OPERATOR_STOP",
}
SEAL_DECAY = {
    "name": "PISTON_SEAL_DECAY",
    "detected_by": "CYCLES",
    "seen_as": "DECAY",
    "relevant": True,
    "critical": False,
}
ROD_LEAK = SEAL_DECAY | {"name": "ROD_SEAL_LEAK", "detected_by": "INSPECTION", "seen_as": "LEAK"}
WEIBAYES_PLAN = {
    "kind": "WEIBAYES",
    "unit_count": 12,
    "planned_cycles": PLANNED,
    "allowed_failures": 0,
    "credit": "TO_PLANNED",
    "overdue_hours": 72,
}


def scaled(cycles: int) -> int:
    """A count of the scenario at the scale of these lots."""
    return cycles // SCALE


def spec(**changes: Any) -> dict[str, Any]:
    """R >= 0.95 at the target with C 0.90, shape 2.0 to 2.6; twelve units, none may fail."""
    content: dict[str, Any] = {
        "spec_id": "CC25-Q1",
        "part_number": "CC25",
        "requirement": [{"reliability": 0.95, "confidence": 0.90, "target_cycles": TARGET}],
        "shape": {
            "assumed_shape": 2.0,
            "shape_low": 2.0,
            "shape_high": 2.6,
            "source": "earlier lots (invented)",
        },
        "conditions": {
            "pressure_lower_mpa": 31.59,
            "pressure_upper_mpa": 34.91,
            "station_modes": ["TEST"],
        },
        "failure": {
            "decay_limit_mpa": 0.60,
            "persistence": {"rule": "CONSECUTIVE", "cycles": 5},
            "leak_class_fails_at": 4,
            "modes": [SEAL_DECAY],
        },
        "reduction": {},
        "plan": WEIBAYES_PLAN,
    }
    for part, change in changes.items():
        laid = isinstance(change, dict) and isinstance(content.get(part), dict)
        content[part] = content[part] | change if laid else change
    return content


def place_of(serial: str) -> tuple[str, int]:
    """Rig and station of a unit: six on each of two rigs, one unit per station."""
    number = SERIALS.index(serial)
    return ("RIG-A", "RIG-B")[number // 6], number % 6 + 1


def run(
    serial: str,
    cycles: int,
    *,
    run_id: str | None = None,
    first_counter: int = 1,
    hour: float = 0.0,
    stop: str | None = "COUNT_MET",
    **columns: Any,
) -> pa.Table:
    """
    Rows of one run: in the band, tight, one cycle every 2.5 s.

    `columns` replace or add columns; a single value stands in every row.
    """
    rig_id, station_no = place_of(serial)
    counters = np.arange(first_counter, first_counter + cycles)
    seconds = 3600 * hour + 2.5 * np.arange(cycles)
    content: dict[str, Any] = {
        "rig_id": rig_id,
        "station_no": station_no,
        "lot_number": LOT,
        "unit_serial": serial,
        "run_id": run_id or f"run-{serial}",
        "cycle_in_run": counters,
        "started_at": [FIRST_START + timedelta(seconds=float(each)) for each in seconds],
        "pressure_peak_mpa": 33.25,
        "pressure_dwell_start_mpa": 33.0,
        "pressure_dwell_end_mpa": 32.94,
        "stop_reason": pa.array([None] * (cycles - 1) + [stop], pa.string()),
        **columns,
    }
    return pa.table({name: _column(value, cycles) for name, value in content.items()})


def _column(value: Any, cycles: int) -> Any:
    return [value] * cycles if isinstance(value, (str, int, float)) else value


def leaking_from(counter: int, cycles: int) -> dict[str, Any]:
    """Columns of a run of so many cycles whose decay is over the limit from a cycle on."""
    end = np.where(np.arange(1, cycles + 1) >= counter, 32.2, 32.94)
    return {"pressure_dwell_end_mpa": end}


def survivors(but: Iterable[str] = (), cycles: int = PLANNED, **columns: Any) -> list[pa.Table]:
    """One run each for all units but some."""
    left_out = {*but}
    return [run(serial, cycles, **columns) for serial in SERIALS if serial not in left_out]


def file_of(tables: Sequence[pa.Table], **options: Any) -> bytes:
    """The tables as one Parquet file."""
    sink = io.BytesIO()
    pq.write_table(pa.concat_tables(tables, promote_options="default"), sink, **options)
    return sink.getvalue()


def told(client: ServiceClient, asked: dict[str, Any], *files: bytes) -> str:
    """A registered lot of twelve under an approved specification, with these uploads; its id."""
    for rig_id in ("RIG-A", "RIG-B"):
        client.rig(rig_id, {"stop_codes": STOP_CODES})
    client.approved_spec(asked)
    lot_id = str(client.lot(LOT)["lot_id"])
    client.sample(lot_id, SERIALS)
    client.assign(lot_id, asked["spec_id"])
    for file in files:
        client.upload(file)
    return lot_id


def reliability_lower(lives: Iterable[float], failures: int, shape: float = 2.0) -> float:
    """
    Lower limit at the target with C 0.90 for an assumed shape.

    ``exp(-chi2(C; 2 r + 2) / (2 sum((t / target)**shape)))``, time-censored: the published
    Weibayes formula, with scipy's chi-square.
    """
    target_lives = sum((life / TARGET) ** shape for life in lives)
    return float(np.exp(-stats.chi2.ppf(0.90, 2 * failures + 2) / 2 / target_lives))


def rows_in(files: Iterable[bytes]) -> list[dict[str, Any]]:
    """Rows of all files one after another, as a careless program reads them."""
    return [row for file in files for row in pq.read_table(io.BytesIO(file)).to_pylist()]


def counts_by(rows: Iterable[Mapping[str, Any]], *names: str) -> dict[tuple[Any, ...], int]:
    """Rows by the values of some columns."""
    counts: dict[tuple[Any, ...], int] = {}
    for row in rows:
        key = tuple(row[name] for name in names)
        counts[key] = counts.get(key, 0) + 1
    return counts


def shown(evaluation: Mapping[str, Any]) -> float:
    """The lower limit at the assumed shape 2, to three digits, as the scenario quotes it."""
    return round(evaluation["requirements"][0]["variables"]["reliability_lower_at_assumed"], 3)
