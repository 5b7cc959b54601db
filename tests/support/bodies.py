"""Bodies that tests send: specifications, lives tables, inspections of the invented cylinder."""

from __future__ import annotations

import io
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

BURST = {
    "name": "BURST",
    "detected_by": "CYCLES",
    "seen_as": "BURST",
    "relevant": True,
    "critical": False,
}


def attribute_spec(spec_id: str = "CC25-A", **changes: Any) -> dict[str, Any]:
    """Six units to 1,000 cycles, none may fail: shows R 0.7 with C 0.88 (0.7**6 = 0.1176)."""
    return {
        "spec_id": spec_id,
        "part_number": "CC25",
        "requirement": [{"reliability": 0.7, "confidence": 0.88, "target_cycles": 1000}],
        "conditions": {
            "pressure_lower_mpa": 31.59,
            "pressure_upper_mpa": 34.91,
            "station_modes": ["TEST"],
        },
        "failure": {"modes": [BURST], "burst_below_mpa": 10.0},
        "reduction": {},
        "plan": {
            "kind": "ATTRIBUTE",
            "unit_count": 6,
            "planned_cycles": 1000,
            "allowed_failures": 0,
            "overdue_hours": 48.0,
        },
        **changes,
    }


def run_outs(lot_number: str, serials: Iterable[str], cycles: int = 1000) -> list[dict[str, Any]]:
    """Lives of units that all reached `cycles`."""
    return [
        {"lot_number": lot_number, "unit_serial": serial, "ending": "RUN_OUT", "cycles": cycles}
        for serial in serials
    ]


def failed(lot_number: str, serial: str, cycles: int) -> dict[str, Any]:
    """Life of a unit that failed."""
    return {"lot_number": lot_number, "unit_serial": serial, "ending": "FAILED", "cycles": cycles}


def lives_table(lives: Iterable[dict[str, Any]]) -> bytes:
    """A lives table as a Parquet file."""
    schema = pa.schema(
        [
            ("lot_number", pa.string()),
            ("unit_serial", pa.string()),
            ("ending", pa.string()),
            ("cycles", pa.int64()),
        ]
    )
    sink = io.BytesIO()
    pq.write_table(pa.Table.from_pylist(list(lives), schema=schema), sink)
    return sink.getvalue()


def inspection(key: str, lot_number: str, serial: str, **changes: Any) -> dict[str, Any]:
    """A clean check at the end of the test."""
    return {
        "inspection_key": key,
        "unit": {"lot_number": lot_number, "unit_serial": serial},
        "inspected_at": "2026-11-25T07:00:00Z",
        "purpose": "END_OF_TEST",
        "leak_class": 0,
        "function_check": "PASS",
        **changes,
    }


def rig_event(key: str, rig_id: str = "RIG-A", **changes: Any) -> dict[str, Any]:
    """A stop with a raw code."""
    return {
        "event_key": key,
        "rig_id": rig_id,
        "occurred_at": "2026-11-25T07:00:00Z",
        "kind": "STOPPED",
        "raw_code": "DOOR_OPEN",
        **changes,
    }


def cycle_rows(
    lot_number: str, serial: str, run_id: str, peaks_mpa: Iterable[float]
) -> list[dict[str, Any]]:
    """Rows of one run on station 1 of RIG-A, a cycle every 2.5 seconds."""
    start = datetime(2026, 11, 20, 6, 0, tzinfo=UTC)
    return [
        {
            "rig_id": "RIG-A",
            "station_no": 1,
            "lot_number": lot_number,
            "unit_serial": serial,
            "run_id": run_id,
            "cycle_in_run": number,
            "started_at": start + timedelta(seconds=2.5 * number),
            "pressure_peak_mpa": peak,
        }
        for number, peak in enumerate(peaks_mpa, start=1)
    ]


def cycle_table(rows: Iterable[dict[str, Any]]) -> bytes:
    """A cycle table with the needed columns only, as a Parquet file."""
    schema = pa.schema(
        [
            ("rig_id", pa.string()),
            ("station_no", pa.int64()),
            ("lot_number", pa.string()),
            ("unit_serial", pa.string()),
            ("run_id", pa.string()),
            ("cycle_in_run", pa.int64()),
            ("started_at", pa.timestamp("us", tz="UTC")),
            ("pressure_peak_mpa", pa.float64()),
        ]
    )
    sink = io.BytesIO()
    pq.write_table(pa.Table.from_pylist(list(rows), schema=schema), sink)
    return sink.getvalue()
