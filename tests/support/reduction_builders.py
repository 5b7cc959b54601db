"""Builders of specifications, stretch summaries and evidence for tests of the reduction.

Nothing here computes a life. The part is the invented clamp cylinder CC25 on rig RIG-A.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec

from schemas.lots import NewInspection, NewRigEvent, RigSettings
from schemas.specs import Spec
from schemas.stretches import CycleTally, Streak, StretchSummary
from schemas.unit_evidence import (
    DeclaredLife,
    LocatedEvent,
    LocatedInspection,
    LowFluidStop,
    UnitEvidence,
)

FIRST_START = datetime(2026, 3, 2, 6, 0)
"""Start of the first cycle, UTC without a zone, as rows are stored."""
RIG = "RIG-A"
LOT = "CC25-0117"
SERIAL = "U-001"
PLANNED = 2000
STOP_CODES = {
    "DONE": "TARGET_REACHED",
    "GUARD": "RIG_STOP",
    "LOW_OIL": "LOW_FLUID",
    "SHIFT_END": "OPERATOR_STOP",
    "SUSPECT": "UNIT_SUSPECT",
}
DECAY = {
    "name": "SEAL_DECAY",
    "detected_by": "CYCLES",
    "seen_as": "DECAY",
    "relevant": True,
    "critical": False,
}
BURST = DECAY | {"name": "THREAD_CRACK", "seen_as": "BURST", "critical": True}
CANNOT_BUILD = DECAY | {"name": "NO_PRESSURE", "seen_as": "CANNOT_BUILD"}
LEAK = DECAY | {"name": "ROD_LEAK", "detected_by": "INSPECTION", "seen_as": "LEAK"}
FUNCTION = DECAY | {"name": "SPRING", "detected_by": "INSPECTION", "seen_as": "FUNCTION"}


def spec(*modes: dict[str, Any], rule: str = "CONSECUTIVE", **changes: Any) -> Spec:
    """
    A specification with these failure modes (decay, burst and cannot-build if none are named).

    `changes` are laid over its parts: ``plan={"credit": "ONCE_AT_TARGET"}``.
    """
    content: dict[str, Any] = {
        "spec_id": "CC25-Q1",
        "part_number": "CC25",
        "requirement": [{"reliability": 0.9, "confidence": 0.9, "target_cycles": 1000}],
        "conditions": {
            "pressure_lower_mpa": 31.59,
            "pressure_upper_mpa": 34.91,
            "pressure_low_max_mpa": 0.15,
            "rise_time_max_s": 0.4,
            "dwell_time_min_s": 1.5,
            "fluid_temperature_min_c": 37.0,
            "fluid_temperature_max_c": 53.0,
            "station_modes": ["TEST"],
        },
        "failure": {
            "modes": [*modes] or [DECAY, BURST, CANNOT_BUILD],
            "decay_limit_mpa": 0.6,
            "persistence": {"rule": rule, "cycles": 5 if rule == "CONSECUTIVE" else 3},
            "burst_below_mpa": 15.0,
            "leak_class_fails_at": 4,
        },
        "reduction": {
            "cannot_build": {"attempts": 5, "window_s": 60.0, "pressure_supply_min_mpa": 36.0}
        },
        "plan": {
            "kind": "WEIBAYES",
            "unit_count": 12,
            "allowed_failures": 0,
            "planned_cycles": PLANNED,
            "credit": "TO_PLANNED",
            "overdue_hours": 48.0,
        },
        "shape": {
            "assumed_shape": 2.0,
            "shape_low": 2.0,
            "shape_high": 2.6,
            "source": "earlier lots (invented)",
        },
    }
    for part, change in changes.items():
        laid = isinstance(change, dict) and isinstance(content.get(part), dict)
        content[part] = content[part] | change if laid else change
    return msgspec.convert(content, Spec)


def rig(**changes: Any) -> RigSettings:
    """A rig whose own codes are mapped."""
    return msgspec.convert({"stop_codes": STOP_CODES} | changes, RigSettings)


def stretch(
    counted: int,
    *,
    key: int = 1,
    hour: float = 0,
    station: int = 1,
    stop: str | None = "SHIFT_END",
    not_counted: dict[str, int] | None = None,
    missing: int = 0,
    **changes: Any,
) -> StretchSummary:
    """
    One stretch that starts `hour` hours after the first; a cycle takes 2.5 s.

    `missing` counters are absent in the middle.
    """
    reasons = not_counted or {}
    logged = counted + sum(reasons.values())
    first = FIRST_START + timedelta(hours=hour)
    fields: dict[str, Any] = {
        "stretch_key": key,
        "unit_key": 1,
        "rig_id": RIG,
        "run_id": f"run-{key:02}",
        "station_no": station,
        "lap": 1,
        "is_last_lap": True,
        "logged_cycles": logged,
        "counted_cycles": counted,
        "not_counted_by": reasons,
        "not_counted_by_every": reasons,
        "unlogged_cycles": missing,
        "unlogged_before_first": 0,
        "first_cycle_in_run": 1,
        "last_cycle_in_run": logged + missing,
        "first_started_at": first,
        "last_started_at": first + timedelta(seconds=2.5 * max(logged + missing - 1, 0)),
        "odometer_first": None,
        "odometer_last": None,
        "stop_reason": stop,
        "ends_in_burst": False,
        "last_cycle_counted": True,
        "under_pressure_at_end": 0,
        "condition_absent_cycles": 0,
        "persistent": None,
        "leading": None,
        "trailing": None,
    }
    fields["tally"] = CycleTally(
        test_cycles=logged - reasons.get("MODE", 0),
        under_pressure_cycles=reasons.get("UNDER_PRESSURE", 0),
        not_recorded_cycles=reasons.get("CONDITION_NOT_RECORDED", 0),
        only_not_recorded_cycles=reasons.get("CONDITION_NOT_RECORDED", 0),
    )
    return StretchSummary(**(fields | changes))


def streak(length: int, first: int, *, logged: int | None = None) -> Streak:
    """A streak whose first cycle has this number; every cycle before it is logged and counts."""
    return Streak(
        length_cycles=length,
        first_counted=first,
        first_logged=first if logged is None else logged,
        first_cycle_in_run=first if logged is None else logged,
    )


def failing(
    counted: int,
    first: int,
    *,
    up_to: CycleTally | None = None,
    missing_before: int = 0,
    **changes: Any,
) -> StretchSummary:
    """A stretch whose last cycles, from number `first`, stay over the decay limit."""
    found = msgspec.structs.replace(
        streak(counted - first + 1, first),
        up_to=up_to or CycleTally(test_cycles=first),
        missing_before=missing_before,
    )
    return stretch(counted, persistent=found, trailing=found, missing=missing_before, **changes)


def evidence(*stretches: StretchSummary, **changes: Any) -> UnitEvidence:
    """What is known about a unit with these stretches: an explained, silent, listed unit."""
    fields: dict[str, Any] = {
        "unit_id": "unit-1",
        "lot_number": LOT,
        "unit_serial": SERIAL,
        "listed": True,
        "stretches": list(stretches),
        "kindest": [],
        "harshest": [],
        "inspections": [],
        "events": [],
        "low_fluid_stops": [],
        "declared": [],
        "rigs": {RIG: rig()},
        "is_newest_on_station": False,
        "is_overdue": False,
    }
    return UnitEvidence(**(fields | changes))


def instant(hour: float) -> datetime:
    """An instant with its zone, `hour` hours after the first cycle."""
    return FIRST_START.replace(tzinfo=UTC) + timedelta(hours=hour)


def inspection(hour: float = 100, **changes: Any) -> NewInspection:
    """An inspection that looked at everything and found the unit dry and working."""
    content: dict[str, Any] = {
        "inspection_key": f"insp-{hour}",
        "unit": {"lot_number": LOT, "unit_serial": SERIAL},
        "inspected_at": instant(hour),
        "purpose": "SCHEDULED",
        "leak_class": 0,
        "function_check": "PASS",
    }
    return msgspec.convert(content | changes, NewInspection)


def inspected(counted: int, hour: float | None = None, **changes: Any) -> LocatedInspection:
    """An inspection after `counted` counted cycles; later counts are later hours by default."""
    return LocatedInspection(
        inspection=inspection(counted / 10 if hour is None else hour, **changes),
        counted_cycles=counted,
        logged_cycles=counted,
    )


def event(hour: float = 100, kind: str = "REMOVED", **changes: Any) -> NewRigEvent:
    """Something that happened at the unit's station."""
    content: dict[str, Any] = {
        "event_key": f"event-{hour}",
        "rig_id": RIG,
        "station_no": 1,
        "occurred_at": instant(hour),
        "kind": kind,
    }
    return msgspec.convert(content | changes, NewRigEvent)


def happened(counted: int, **changes: Any) -> LocatedEvent:
    """An event after `counted` counted cycles."""
    return LocatedEvent(event=event(**changes), counted_cycles=counted, logged_cycles=counted)


def low_fluid_stop(counted: int, hour: float) -> LowFluidStop:
    """A low-fluid stop met after `counted` counted cycles."""
    return LowFluidStop(
        stopped_at=instant(hour),
        counted_cycles=counted,
        rig_id=RIG,
        run_id="run-01",
        cycle_in_run=counted,
    )


def declared(ending: str, cycles: int | tuple[int, int], mode: str | None = None) -> DeclaredLife:
    """One row of a lives table; two counts are a bracket."""
    low, high = cycles if isinstance(cycles, tuple) else (None, None)
    return DeclaredLife(
        ending=ending,
        cycles=None if isinstance(cycles, tuple) else cycles,
        cycles_low=low,
        cycles_high=high,
        failure_mode=mode,
    )


def hold_names(holds: Sequence[Any]) -> list[str]:
    """Names of holds or questions in their order."""
    return [each.name for each in holds]
