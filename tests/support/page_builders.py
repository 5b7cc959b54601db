"""Builders of answers for the tests of pages: specification, units, both views, evaluation.

The figures only have to be plausible; what a page says about them is what is tested.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime

from msgspec import UNSET, UnsetType
from scipy.special import betaincinv, gammaincinv

from schemas.decisions import (
    AttributeView,
    Estimates,
    Evaluation,
    Evidence,
    PlanProgress,
    Provenance,
    Reason,
    RefusalKind,
    RequirementResult,
    ShapeRow,
    UnderHolds,
    UnitLine,
    Verdict,
    Views,
    WeibayesView,
)
from schemas.estimates import NotEstimable
from schemas.lots import Lot
from schemas.specs import (
    Conditions,
    FailureDefinition,
    FailureMode,
    Persistence,
    Plan,
    ReductionSettings,
    Requirement,
    ShapeAssumption,
    Spec,
    SpecReference,
    SpecVersion,
)

TARGET = 100_000
PLANNED = 200_000
RELIABILITY = 0.95
CONFIDENCE = 0.9
NEEDED = 44.89056748
SPEC_HASH = "sha256:" + "4f1c" * 16
REFERENCE = SpecReference(spec_id="CC25-Q1", version=1, hash=SPEC_HASH)
PARTS_BELOW = Reason(
    code="UPPER_LIMIT_BELOW_REQUIREMENT", reliability_upper=0.8591, reliability_required=0.95
)


def spec_version(*, pressure_set_mpa: float | None = 33.25) -> SpecVersion:
    """The demo's first specification, approved."""
    spec = Spec(
        spec_id="CC25-Q1",
        part_number="CC25",
        requirement=[
            Requirement(reliability=RELIABILITY, confidence=CONFIDENCE, target_cycles=TARGET)
        ],
        conditions=Conditions(
            pressure_lower_mpa=31.59,
            pressure_upper_mpa=34.91,
            pressure_set_mpa=pressure_set_mpa,
            pressure_invalidation_mpa=36.58,
            pressure_low_max_mpa=0.15,
            rise_time_max_s=0.4,
            dwell_time_min_s=1.4,
            fluid_temperature_min_c=37.0,
            fluid_temperature_max_c=53.0,
            station_modes=["TEST"],
        ),
        failure=FailureDefinition(
            modes=[
                _mode("piston-seal decay", "CYCLES", "DECAY"),
                _mode("rod-seal external leak", "INSPECTION", "LEAK"),
                _mode("port-thread crack to burst", "CYCLES", "BURST", critical=True),
                _mode("gauge-port fitting leak", "INSPECTION", "LEAK", relevant=False),
            ],
            decay_limit_mpa=0.6,
            persistence=Persistence(rule="CONSECUTIVE", cycles=5),
            burst_below_mpa=5.0,
            leak_class_fails_at=4,
        ),
        reduction=ReductionSettings(under_pressure_share_max=0.05),
        shape=ShapeAssumption(
            assumed_shape=2.0, shape_low=2.0, shape_high=2.6, source="earlier lots"
        ),
        inspection_interval_cycles=30_000,
        plan=Plan(
            kind="WEIBAYES",
            unit_count=12,
            allowed_failures=0,
            overdue_hours=48.0,
            planned_cycles=PLANNED,
            credit="TO_PLANNED",
        ),
    )
    return SpecVersion(
        spec_id="CC25-Q1",
        version=1,
        state="APPROVED",
        hash=SPEC_HASH,
        spec=spec,
        created_at=datetime(2026, 9, 1, 8, tzinfo=UTC),
        created_by="test engineer",
        approved_at=datetime(2026, 9, 2, 8, tzinfo=UTC),
        approved_by="quality lead",
    )


def _mode(
    name: str, detected_by: str, seen_as: str, *, relevant: bool = True, critical: bool = False
) -> FailureMode:
    return FailureMode(
        name=name,
        detected_by=detected_by,  # type: ignore[arg-type]
        seen_as=seen_as,  # type: ignore[arg-type]
        relevant=relevant,
        critical=critical,
    )


def lot(lot_number: str) -> Lot:
    """A registered lot."""
    return Lot(
        lot_id=f"lot_{lot_number.lower()}",
        lot_number=lot_number,
        state="REGISTERED",
        unit_count=12,
        part_number="CC25",
        lot_size=480,
    )


def unit_line(serial: str, ending: str, reached: int, /, **more: object) -> UnitLine:
    """One unit; a bracket is given by `cycles_low` and `cycles_high`."""
    values: dict[str, object] = {
        "unit_id": f"unit_{serial.lower()}",
        "unit_serial": serial,
        "ending": ending,
        "counted_cycles": reached,
        "credited_cycles": reached,
        "plan_credit_cycles": min(reached, PLANNED),
        "marks": [],
        "hold_names": [],
        "cycles": reached,
    }
    return UnitLine(**{**values, **more})  # type: ignore[arg-type]


def run_outs(lot_number: str, count: int, *, first: int = 1) -> list[UnitLine]:
    """Survivors that a rig stopped a few cycles after the planned count."""
    return [
        unit_line(
            f"{lot_number}-{number:03}",
            "RUN_OUT",
            PLANNED + number,
            credited_cycles=PLANNED,
        )
        for number in range(first, first + count)
    ]


def weibayes_view(units: list[UnitLine]) -> WeibayesView:
    """Both limits at the target, from the credit of the units."""
    failures = sum(_failed(line) for line in units)

    def lives_at(shape: float) -> float:
        return sum((line.plan_credit_cycles / TARGET) ** shape for line in units)

    def lower(shape: float) -> float:
        lives = lives_at(shape)
        need = float(gammaincinv(failures + 1, CONFIDENCE))
        return math.exp(-need / lives) if lives else 0.0

    most = float(gammaincinv(failures, 1 - CONFIDENCE)) if failures else 0.0
    return WeibayesView(
        assumes="ONE_POPULATION",
        confidence=CONFIDENCE,
        at_cycles=TARGET,
        failure_count=failures,
        target_lives_required=NEEDED,
        target_lives_worst=lives_at(2.0),
        worst_shape=2.0,
        target_lives_at_low=lives_at(2.0),
        target_lives_at_high=lives_at(2.6),
        target_lives_at_assumed=lives_at(2.0),
        reliability_lower_worst=lower(2.0),
        reliability_lower_at_assumed=lower(2.0),
        reliability_upper_largest=math.exp(-most / lives_at(2.6)) if lives_at(2.6) else 1.0,
        by_shape=[
            ShapeRow(
                shape=shape,
                target_lives=lives_at(shape),
                reliability_lower=lower(shape),
                outside_range=outside,
            )
            for shape, outside in ((1.8, True), (2.0, False), (2.3, False), (2.6, False))
        ],
    )


def attribute_view(units: list[UnitLine], *, at_cycles: int = TARGET) -> AttributeView:
    """Pass and fail at one count; running units are undecided."""
    failed = sum(_failed(line) and line.credited_cycles < at_cycles for line in units)
    survived = sum(line.credited_cycles >= at_cycles for line in units)
    decided = failed + survived
    lower = (
        float(1 - betaincinv(failed + 1, decided - failed, CONFIDENCE)) if decided > failed else 0.0
    )
    survivors = len(units) - failed
    upper = float(1 - betaincinv(failed, survivors + 1, 1 - CONFIDENCE)) if failed else 1.0
    return AttributeView(
        confidence=CONFIDENCE,
        at_cycles=at_cycles,
        decided_count=decided,
        failure_count=failed,
        reliability_lower_of_decided=lower,
        survivor_count_for_upper=survivors,
        reliability_upper=upper,
    )


def _failed(line: UnitLine) -> bool:
    return line.ending in {"FAILED", "FAILED_BETWEEN"} and not line.after_credit


def requirement(
    units: list[UnitLine],
    verdict: Verdict,
    reasons: list[Reason],
    *,
    kind: RefusalKind | UnsetType = UNSET,
    plan_kind: str = "WEIBAYES",
) -> RequirementResult:
    """One requirement's result under a variables plan or an attribute plan."""
    by_variables = plan_kind == "WEIBAYES"
    view = weibayes_view(units)
    return RequirementResult(
        reliability=RELIABILITY,
        confidence=CONFIDENCE,
        target_cycles=TARGET,
        verdict=verdict,
        kind=kind,
        reasons=reasons,
        plan=PlanProgress(
            kind=plan_kind,
            unit_count=12,
            max_units=12,
            planned_cycles=PLANNED if by_variables else TARGET,
            allowed_failures=0,
            credit="TO_PLANNED" if by_variables else UNSET,
            target_lives=view.target_lives_worst if by_variables else UNSET,
            target_lives_required=NEEDED if by_variables else UNSET,
            worst_shape=2.0 if by_variables else UNSET,
        ),
        variables=view if by_variables else UNSET,
        attribute_at_target=attribute_view(units),
        attribute_at_planned=UNSET if by_variables else attribute_view(units),
    )


def evaluation(
    lot_number: str,
    units: list[UnitLine],
    verdict: Verdict,
    *reasons: Reason,
    kind: RefusalKind | UnsetType = UNSET,
    **more: object,
) -> Evaluation:
    """A whole evaluation around its units."""
    result = requirement(units, verdict, list(reasons), kind=kind)
    values: dict[str, object] = {
        "lot_id": f"lot_{lot_number.lower()}",
        "lot_number": lot_number,
        "verdict": verdict,
        "robust_to_open_holds": True,
        "reasons": list(reasons),
        "marks": [],
        "evidence": _evidence(units),
        "estimates": Estimates(weibull_fit=NotEstimable(reason="NO_FAILURES")),
        "units": units,
        "holds": [],
        "under_holds": UnderHolds(best=verdict, worst=verdict, best_kind=kind, worst_kind=kind),
        "still_needed": [],
        "options_needing_new_spec": [],
        "provenance": _provenance(),
        "requirements": [result],
        "spec": REFERENCE,
        "kind": kind,
        "views": Views(decides="VARIABLES", attribute="CONTINUE", variables="CONTINUE"),
    }
    return Evaluation(**{**values, **more})  # type: ignore[arg-type]


def _evidence(units: list[UnitLine]) -> Evidence:
    return Evidence(
        unit_count=len(units),
        started_count=sum(line.counted_cycles > 0 for line in units),
        ended_count=sum(line.ending not in {"RUNNING", "SUSPENDED"} for line in units),
        failure_count=sum(_failed(line) for line in units),
        counted_cycles=sum(line.counted_cycles for line in units),
        credited_cycles=sum(line.credited_cycles for line in units),
        open_hold_count=sum(len(line.hold_names) for line in units),
    )


def _provenance() -> Provenance:
    return Provenance(
        evaluation_key="sha256:" + "9ab3" * 16,
        lives_key="sha256:" + "07de" * 16,
        method_version=1,
        reduction_version=1,
        limit="ONE_SIDED_2R_PLUS_2",
        success_run_convention="NO_PRIOR",
        software="lotproof 0.1.0",
        libraries={"scipy": "1.17.1", "numpy": "2.4.6"},
        facts_as_of=datetime(2026, 11, 25, 7, 5, tzinfo=UTC),
    )
