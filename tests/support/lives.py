"""Builders of unit lives, lots and specifications for tests; nothing here computes a verdict."""

from collections.abc import Iterable, Sequence
from typing import Any

import msgspec

from schemas.decisions import Provenance
from schemas.holds import Alternative, Hold, HoldCode
from schemas.lives import CycleTotals, Ending, FailureSeen, Outcome, UnitLife, UpToEnding
from schemas.lot_evidence import LotEvidence
from schemas.specs import PlanKind, Spec

LOT_NUMBER = "CC25-0117"


def outcome(
    ending: Ending, cycles: int | tuple[int, int], *, credited: int | None = None, **changes: Any
) -> Outcome:
    """
    An outcome by its ending and its count, or its two counts for a bracket.

    `credited` is given where a check is still due; `changes` go into the struct.
    """
    low, high = cycles if isinstance(cycles, tuple) else (cycles, cycles)
    fields: dict[str, Any] = {
        "ending": ending,
        "credited_cycles": low if credited is None else credited,
        "most_cycles": high,
        "failed": ending in ("FAILED", "FAILED_BETWEEN"),
        "has_ended": ending in ("FAILED", "FAILED_BETWEEN", "RUN_OUT", "VOID"),
        "cycles": None if ending == "FAILED_BETWEEN" else high,
        "cycles_low": low if ending == "FAILED_BETWEEN" else None,
        "cycles_high": high if ending == "FAILED_BETWEEN" else None,
    }
    return Outcome(**(fields | changes))


def life(
    serial: str,
    result: Outcome,
    *,
    marks: Sequence[str] = (),
    holds: Sequence[Hold] = (),
    best: Outcome | None = None,
    worst: Outcome | None = None,
) -> UnitLife:
    """The life of one unit; without `best` and `worst` nothing about it is open."""
    counted = result.most_cycles
    return UnitLife(
        unit_id=f"unit-{serial}",
        lot_number=LOT_NUMBER,
        unit_serial=serial,
        ending=result.ending,
        credited_cycles=result.credited_cycles,
        totals=CycleTotals(
            logged_cycles=counted,
            counted_cycles=counted,
            not_counted_cycles=0,
            not_counted_by={},
            not_counted_by_every={},
            unlogged_cycles=0,
        ),
        up_to_ending=UpToEnding(logged_cycles=counted, counted_cycles=counted),
        verified_cycles=result.credited_cycles,
        marks=list(marks),
        holds=list(holds),
        stretches=[],
        outcome=result,
        best=best or result,
        worst=worst or result,
        cycles=msgspec.UNSET if result.cycles is None else result.cycles,
        cycles_low=msgspec.UNSET if result.cycles_low is None else result.cycles_low,
        cycles_high=msgspec.UNSET if result.cycles_high is None else result.cycles_high,
        failure=_failure(result) if result.failed else msgspec.UNSET,
    )


def held_life(serial: str, *, best: Outcome, worst: Outcome, name: HoldCode) -> UnitLife:
    """A unit with one open hold; as reduced it stands at its best."""
    return life(serial, best, holds=[hold(serial, best, worst, name)], best=best, worst=worst)


def hold(serial: str | None, best: Outcome, worst: Outcome, name: HoldCode) -> Hold:
    """An open hold of a unit, or of the lot where there is no serial."""
    return Hold(
        hold_id=f"hold-{serial}-{name}",
        name=name,
        evidence=[],
        best=_alternative(best),
        worst=_alternative(worst),
        unit_id=msgspec.UNSET if serial is None else f"unit-{serial}",
        unit_serial=msgspec.UNSET if serial is None else serial,
    )


def not_started(serial: str) -> UnitLife:
    """A listed unit of which no row has come yet."""
    return life(serial, outcome("RUNNING", 0), marks=["NOT_STARTED"])


def lives_of(results: Iterable[Outcome]) -> list[UnitLife]:
    """Units U-001, U-002, ... with these outcomes."""
    return [life(f"U-{number:03}", each) for number, each in enumerate(results, 1)]


def lot(
    lives: Sequence[UnitLife],
    *,
    marks: Sequence[str] = (),
    lot_holds: Sequence[Hold] = (),
    registered: bool = True,
) -> LotEvidence:
    """A lot of these units."""
    return LotEvidence(
        lot_id="lot-1",
        lot_number=LOT_NUMBER,
        registered=registered,
        lives=list(lives),
        marks=list(marks),
        lot_holds=list(lot_holds),
    )


def spec(
    kind: PlanKind,
    *requirements: tuple[float, float, int],
    shape: tuple[float, float, float] | None,
    plan: dict[str, Any],
    spec_before_data: bool = False,
) -> Spec:
    """
    A specification of which only the deciding part matters.

    Each requirement is (reliability, confidence, target cycles); the shape is (low,
    assumed, high).
    """
    mode = {"name": "SEAL_DECAY", "detected_by": "CYCLES", "seen_as": "DECAY"}
    content: dict[str, Any] = {
        "spec_id": "CC25-T",
        "part_number": "CC25",
        "requirement": [
            {"reliability": r, "confidence": c, "target_cycles": t} for r, c, t in requirements
        ],
        "conditions": {
            "pressure_lower_mpa": 31.59,
            "pressure_upper_mpa": 34.91,
            "station_modes": ["TEST"],
        },
        "failure": {"modes": [mode | {"relevant": True, "critical": False}]},
        "reduction": {},
        "plan": {"kind": kind, "overdue_hours": 48} | plan,
        "spec_before_data": spec_before_data,
    }
    if shape is not None:
        low, assumed, high = shape
        content["shape"] = {
            "shape_low": low,
            "assumed_shape": assumed,
            "shape_high": high,
            "source": "earlier lots (invented)",
        }
    return msgspec.convert(content, Spec)


def provenance() -> Provenance:
    """A provenance; verdicts do not look into it."""
    return Provenance(
        evaluation_key="sha256:0",
        lives_key="sha256:1",
        method_version=1,
        reduction_version=1,
        limit="ONE_SIDED_2R_PLUS_2",
        success_run_convention="FREQUENTIST",
        software="lotproof",
        libraries={},
    )


def _alternative(result: Outcome) -> Alternative:
    return Alternative(
        ending=result.ending, credited_cycles=result.credited_cycles, failed=result.failed
    )


def _failure(result: Outcome) -> FailureSeen:
    return FailureSeen(
        seen_as="DECAY", failure_mode="UNANALYSED", critical=result.critical, relevant=True
    )
