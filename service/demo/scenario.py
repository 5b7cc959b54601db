"""The invented scenario: clamp cylinder CC25, the rigs that cycle it, the two specifications.

CC25 is a pull-type, single-acting, spring-return workholding clamp cylinder rated
25 MPa. No real product, firm or rig is meant. Lots and their truth are in `lots`.
"""

from __future__ import annotations

from typing import Any

from service.demo.facts import StopPurpose

PART_NUMBER = "CC25"
PART = "workholding clamp cylinder, 25 MPa, spring return (invented)"

TARGET_CYCLES = 100_000
PLANNED_CYCLES = 200_000
INSPECTION_EVERY_CYCLES = 25_000
INSPECTION_INTERVAL_CYCLES = 30_000
PERIOD_US = 2_500_000

SET_MPA = 33.25
LOWER_MPA = 31.59
UPPER_MPA = 34.91
DECAY_LIMIT_MPA = 0.60
BASE_DECAY_MPA = 0.060
OVER_LIMIT_CYCLES = 5
RESOLUTION_MPA = 0.004
STATION_STEP_MPA = 0.010
FULL_SCALE_MPA = 60.0

STATION_COUNT: dict[str, int] = {"RIG-A": 6, "RIG-B": 6, "RIG-C": 8}

RAW_CODES: dict[str, dict[StopPurpose, str]] = {
    "RIG-A": {
        "DONE": "CYCLES_DONE",
        "CHECK": "CHECK_DUE",
        "SHIFT": "SHIFT_END",
        "GUARD": "GUARD_OPEN",
        "POWER": "POWER_LOST",
        "HOT": "OIL_HOT",
        "LOW": "OIL_LOW",
        "DECAY": "DECAY_HIGH",
        "NO_PRESSURE": "NO_BUILD_UP",
        "BURST": "BURST_TRIP",
    },
    "RIG-B": {
        "DONE": "S01",
        "CHECK": "S11",
        "SHIFT": "S12",
        "GUARD": "S21",
        "POWER": "S22",
        "HOT": "S23",
        "LOW": "S24",
        "DECAY": "S31",
        "NO_PRESSURE": "S32",
        "BURST": "S33",
    },
    "RIG-C": {
        "DONE": "end of count",
        "CHECK": "halt for check",
        "SHIFT": "halt by operator",
        "GUARD": "door",
        "POWER": "mains",
        "HOT": "fluid hot",
        "LOW": "fluid level",
        "DECAY": "decay limit",
        "NO_PRESSURE": "pressure not reached",
        "BURST": "pressure collapse",
    },
}

STOP_CLASS: dict[StopPurpose, str] = {
    "DONE": "TARGET_REACHED",
    "CHECK": "OPERATOR_STOP",
    "SHIFT": "OPERATOR_STOP",
    "GUARD": "RIG_STOP",
    "POWER": "RIG_STOP",
    "HOT": "RIG_STOP",
    "LOW": "LOW_FLUID",
    "DECAY": "UNIT_SUSPECT",
    "NO_PRESSURE": "UNIT_SUSPECT",
    "BURST": "UNIT_SUSPECT",
}

STOP_NOTE: dict[StopPurpose, str] = {
    "SHIFT": "end of shift",
    "GUARD": "guard opened",
    "POWER": "power lost",
    "HOT": "fluid overheated",
    "LOW": "fluid low; every unit on this supply to be inspected before topping up",
}

_MODES: list[dict[str, Any]] = [
    {
        "name": "SEAL_DECAY",
        "detected_by": "CYCLES",
        "seen_as": "DECAY",
        "relevant": True,
        "critical": False,
    },
    {
        "name": "ROD_SEAL_LEAK",
        "detected_by": "INSPECTION",
        "seen_as": "LEAK",
        "relevant": True,
        "critical": False,
    },
    {
        "name": "PORT_BURST",
        "detected_by": "CYCLES",
        "seen_as": "BURST",
        "relevant": True,
        "critical": True,
    },
    {
        "name": "CANNOT_BUILD",
        "detected_by": "CYCLES",
        "seen_as": "CANNOT_BUILD",
        "relevant": True,
        "critical": False,
    },
    {
        "name": "SPRING_FRACTURE",
        "detected_by": "INSPECTION",
        "seen_as": "FUNCTION",
        "relevant": True,
        "critical": False,
    },
    {
        "name": "GAUGE_PORT_LEAK",
        "detected_by": "INSPECTION",
        "seen_as": "LEAK",
        "relevant": False,
        "critical": False,
    },
]

_SAMPLE: dict[str, tuple[int, int, int]] = {"CC25-Q1": (12, 3, 0), "CC25-Q2": (20, 0, 1)}
"""Units, spares that may take the place of void ones, and allowed failures of a specification."""


def scaled(cycles: float, scale: float) -> int:
    """
    A count of cycles at another length of test, at least 1.

    Examples
    --------
    >>> scaled(163_619, 0.05)
    8181
    """
    return max(1, round(cycles * scale))


def sensor_name(rig_id: str, station_no: int) -> str:
    """Name of a station's transducer."""
    return f"{rig_id}-P{station_no:02d}"


def rig_settings() -> dict[str, dict[str, Any]]:
    """
    Settings of every rig, as ``PUT /v1/rigs/{rig_id}`` takes them.

    Examples
    --------
    >>> rig_settings()["RIG-B"]["stop_codes"]["S24"]
    'LOW_FLUID'
    """
    return {
        rig_id: {
            "stop_codes": {
                code: STOP_CLASS[purpose] for purpose, code in RAW_CODES[rig_id].items()
            },
            "time_zone": "UTC",
            "supplies": [],
            "sensors": [
                {
                    "sensor_id": sensor_name(rig_id, station_no),
                    "full_scale_mpa": FULL_SCALE_MPA,
                    "station_no": station_no,
                }
                for station_no in range(1, station_count + 1)
            ],
        }
        for rig_id, station_count in STATION_COUNT.items()
    }


def spec(spec_id: str, *, scale: float, unit_count: int | None = None) -> dict[str, Any]:
    """
    A specification as ``POST /v1/specs`` takes it.

    Parameters
    ----------
    spec_id : str
        ``CC25-Q1`` (12 units and 3 spares, no failure allowed) or ``CC25-Q2`` (20 units, one).
    scale : float, 0 < scale, keyword only
        Length of the test: 1.0 is the full one. Every count of cycles is
        multiplied by it; consecutive counts and the block length are not.
    unit_count : int, optional, keyword only
        Units, where they are not those of the scenario.

    Returns
    -------
    dict

    Raises
    ------
    KeyError
        If there is no such specification.

    Examples
    --------
    >>> spec("CC25-Q1", scale=0.05)["requirement"][0]["target_cycles"]
    5000
    """
    return {
        "spec_id": spec_id,
        "part_number": PART_NUMBER,
        "part": PART,
        "requirement": [
            {
                "reliability": 0.95,
                "confidence": 0.90,
                "target_cycles": scaled(TARGET_CYCLES, scale),
            }
        ],
        "shape": {
            "assumed_shape": 2.0,
            "shape_low": 2.0,
            "shape_high": 2.6,
            "source": "earlier lots (invented)",
        },
        "conditions": _conditions(),
        "failure": {
            "decay_limit_mpa": DECAY_LIMIT_MPA,
            "persistence": {"rule": "CONSECUTIVE", "cycles": OVER_LIMIT_CYCLES},
            "burst_below_mpa": 10.0,
            "leak_class_fails_at": 4,
            "onset_is_failure": False,
            "modes": [dict(mode) for mode in _MODES],
        },
        "reduction": _reduction(scale),
        "inspection_interval_cycles": scaled(INSPECTION_INTERVAL_CYCLES, scale),
        "plan": _plan(spec_id, scale, unit_count),
        "spec_before_data": False,
    }


def _plan(spec_id: str, scale: float, unit_count: int | None) -> dict[str, Any]:
    usual_count, spare_count, allowed_failures = _SAMPLE[spec_id]
    units = usual_count if unit_count is None else unit_count
    return {
        "kind": "WEIBAYES",
        "unit_count": units,
        "max_units": units + spare_count,
        "planned_cycles": scaled(PLANNED_CYCLES, scale),
        "allowed_failures": allowed_failures,
        "credit": "TO_PLANNED",
        "overdue_hours": 72,
    }


def _conditions() -> dict[str, Any]:
    return {
        "pressure_set_mpa": SET_MPA,
        "pressure_lower_mpa": LOWER_MPA,
        "pressure_upper_mpa": UPPER_MPA,
        "pressure_invalidation_mpa": 36.58,
        "pressure_low_max_mpa": 0.15,
        "dwell_time_min_s": 1.45,
        "rise_time_max_s": 0.40,
        "fluid_temperature_min_c": 37.0,
        "fluid_temperature_max_c": 53.0,
        "station_modes": ["TEST"],
    }


def _reduction(scale: float) -> dict[str, Any]:
    # Blocks keep their length of 100 cycles; which of them are the baseline is a count of cycles.
    # At a twentieth that leaves a unit 100 blocks and a baseline of 10: it shows how onset is
    # given, not how well it is found.
    return {
        "under_pressure_share_max": 0.05,
        "clipped_cycles": 3,
        "warm_up_cycles": scaled(1_000, scale),
        "cannot_build": {"attempts": 5, "window_s": 60, "pressure_supply_min_mpa": 34.5},
        "swap_step": {"decay_mpa": 0.15, "rise_time_s": 0.08},
        "onset": {
            "block_cycles": 100,
            "baseline_blocks": [scaled(20, scale), scaled(220, scale)],
            "mask_after_start_cycles": scaled(300, scale),
            "dead_band_mpa": 0.015,
            "alarm_mpa": 0.05,
            "station_step_mpa": STATION_STEP_MPA,
            "sensor_step_mpa": RESOLUTION_MPA,
        },
    }
