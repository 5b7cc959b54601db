"""Cycle tables of units that leak, for the service: by hand, or of the full row model."""

from __future__ import annotations

import io
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from leak_simulation import SCENARIO_RULES, SimulatedRun

from analysis.checks import BoolArray, FloatArray

LOT = "CC25-0121"
FIRST_START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
STOP_CODES = {"DONE": "TARGET_REACHED", "GUARD": "RIG_STOP"}
SEAL_DECAY = {
    "name": "SEAL_DECAY",
    "detected_by": "CYCLES",
    "seen_as": "DECAY",
    "relevant": True,
    "critical": False,
}
FULL_ONSET = {
    "block_cycles": SCENARIO_RULES.block_cycles,
    "baseline_blocks": [20, 220],
    "mask_after_start_cycles": SCENARIO_RULES.masked_cycles,
    "dead_band_mpa": SCENARIO_RULES.dead_band_mpa,
    "alarm_mpa": SCENARIO_RULES.alarm_mpa,
    "station_step_mpa": SCENARIO_RULES.station_step_mpa,
    "sensor_step_mpa": SCENARIO_RULES.sensor_step_mpa,
}
"""The invented scenario's settings at full length: a baseline of blocks 20 to 220."""
SHORT_ONSET = FULL_ONSET | {"baseline_blocks": [2, 32]}
"""The same with a short baseline, complete after 3,200 cycles."""


def onset_spec(
    spec_id: str, *, target: int, units: int, onset: dict[str, Any] | None, fails: bool
) -> dict[str, Any]:
    """`units` units to the target by counting, of which none may fail."""
    return {
        "spec_id": spec_id,
        "part_number": "CC25",
        "requirement": [{"reliability": 0.9, "confidence": 0.9, "target_cycles": target}],
        "conditions": {
            "pressure_lower_mpa": 31.59,
            "pressure_upper_mpa": 34.91,
            "fluid_temperature_min_c": 37.0,
            "fluid_temperature_max_c": 53.0,
            "station_modes": ["TEST"],
        },
        "failure": {
            "modes": [SEAL_DECAY],
            "decay_limit_mpa": 0.6,
            "persistence": {"rule": "CONSECUTIVE", "cycles": 5},
            "onset_is_failure": fails,
        },
        "reduction": {} if onset is None else {"onset": onset},
        "plan": {
            "kind": "ATTRIBUTE",
            "unit_count": units,
            "planned_cycles": target,
            "allowed_failures": 0,
            "overdue_hours": 1_000.0,
        },
    }


def leaking_decay(cycles: int, onset: float, growth_mpa_per_1000: float) -> FloatArray:
    """Decay of 0.06 MPa that grows from a cycle on, with the sensor's steps of 0.004 MPa."""
    numbers = np.arange(1, cycles + 1)
    noise = 0.012 * np.random.default_rng(1).standard_normal(cycles)
    growth = growth_mpa_per_1000 / 1_000 * np.maximum(numbers - onset, 0.0)
    return np.asarray(np.rint((0.06 + noise + growth) / 0.004) * 0.004)


def run_table(
    serial: str,
    decay: FloatArray,
    *,
    run_id: str = "run-1",
    counters: Iterable[int] | None = None,
    hours: float = 0.0,
    station: int = 1,
    stop: str | None = None,
    counts: BoolArray | None = None,
    temperature_c: FloatArray | float = 45.0,
) -> pa.Table:
    """One run; what does not count is short of pressure."""
    count = len(decay)
    begun = FIRST_START + timedelta(hours=hours)
    seconds = [timedelta(seconds=2.5 * n) for n in range(count)]
    peaks = np.where(np.ones(count, bool) if counts is None else counts, 33.25, 30.0)
    return pa.table(
        {
            "rig_id": pa.array(["RIG-A"] * count),
            "station_no": pa.array([station] * count),
            "lot_number": pa.array([LOT] * count),
            "unit_serial": pa.array([serial] * count),
            "run_id": pa.array([run_id] * count),
            "cycle_in_run": pa.array([*(counters or range(1, count + 1))]),
            "started_at": pa.array([begun + each for each in seconds], pa.timestamp("us", "UTC")),
            "pressure_peak_mpa": peaks,
            "pressure_dwell_start_mpa": np.full(count, 33.0),
            "pressure_dwell_end_mpa": 33.0 - decay,
            "rise_time_s": np.full(count, 0.3),
            "fluid_temperature_c": np.broadcast_to(temperature_c, (count,)).astype(float),
            "stop_reason": pa.array([None] * (count - 1) + [stop], pa.string()),
        }
    )


def simulated_tables(serial: str, runs: Iterable[SimulatedRun], *, station: int) -> list[pa.Table]:
    """The rows of a simulated unit; its second place is a station ten further on."""
    return [
        run_table(
            serial,
            run.decay_mpa,
            run_id=f"{serial}-{number:02}",
            hours=run.start_hours,
            station=station + (10 if run.place == "second" else 0),
            stop="GUARD",
            counts=run.counts,
            temperature_c=run.temperature_c,
        )
        for number, run in enumerate(runs, start=1)
    ]


def file_of(*tables: pa.Table) -> bytes:
    """The tables as one Parquet file."""
    sink = io.BytesIO()
    pq.write_table(pa.concat_tables(tables), sink)
    return sink.getvalue()
