"""Planning over HTTP: nothing is stored."""

from __future__ import annotations

from typing import Annotated

from litestar import get
from litestar.params import FromQuery, QueryParameter

from schemas.estimates import SuccessRunPlan
from schemas.plans import FiniteLotAnswer, FiniteLotQuestion, WeibayesPlan, WeibayesQuestion
from schemas.quantities import (
    Confidence,
    FailureCount,
    LotSize,
    PositiveCycles,
    Reliability,
    Shape,
    UnitCount,
)
from service.auth import requires
from service.workflows.plans import plan_finite_lot, plan_success_run, plan_weibayes

_TAGS = ["Plans"]
AllowedFailures = Annotated[
    FailureCount, QueryParameter(description="Most failures that the plan tolerates.")
]
TargetCycles = Annotated[PositiveCycles, QueryParameter(description="The target life, cycles.")]
DisplayShape = Annotated[
    Shape | None,
    QueryParameter(
        name="assumed_shape", description="Weibull shape of the headline figures; none decides."
    ),
]
GivenUnits = Annotated[
    UnitCount | None, QueryParameter(description="Units there are; asks for cycles per unit.")
]
GivenCycles = Annotated[
    PositiveCycles | None, QueryParameter(description="Cycles of each unit; asks for units.")
]
Nonconforming = Annotated[
    FailureCount | None,
    QueryParameter(description="Most nonconforming units that the whole lot may hold."),
]
FailuresPlanned = Annotated[
    FailureCount | None,
    QueryParameter(name="allowed_failures", description="Most failures that the plan tolerates."),
]
UnitsTested = Annotated[UnitCount | None, QueryParameter(description="Units of a finished sample.")]
FailuresFound = Annotated[
    FailureCount | None, QueryParameter(description="Failures found in a finished sample.")
]


@get(
    "/plans/success-run",
    operation_id="plan_success_run",
    summary="How many units must run to the target",
    tags=_TAGS,
    guards=[requires("lots.read")],
    opt={"problems": ["outside-domain"]},
    sync_to_thread=False,
)
def read_success_run_plan(
    reliability: FromQuery[Reliability],
    confidence: FromQuery[Confidence],
    allowed_failures: AllowedFailures,
) -> SuccessRunPlan:
    """Units that demonstrate a reliability, whatever the life distribution."""
    return plan_success_run(reliability, confidence, allowed_failures=allowed_failures)


@get(
    "/plans/weibayes",
    operation_id="plan_weibayes",
    summary="How many units or cycles a test with an assumed shape needs",
    tags=_TAGS,
    guards=[requires("lots.read")],
    opt={"problems": ["outside-domain"]},
    sync_to_thread=False,
)
def read_weibayes_plan(
    reliability: FromQuery[Reliability],
    confidence: FromQuery[Confidence],
    target_cycles: TargetCycles,
    shape_low: FromQuery[Shape],
    shape_high: FromQuery[Shape],
    allowed_failures: AllowedFailures,
    display_shape: DisplayShape = None,
    unit_count: GivenUnits = None,
    cycles_per_unit: GivenCycles = None,
) -> WeibayesPlan:
    """Give exactly one of `unit_count` and `cycles_per_unit`; the shape range's worst decides."""
    question = WeibayesQuestion(
        reliability=reliability,
        confidence=confidence,
        target_cycles=target_cycles,
        shape_low=shape_low,
        shape_high=shape_high,
        allowed_failures=allowed_failures,
        assumed_shape=display_shape,
        unit_count=unit_count,
        cycles_per_unit=cycles_per_unit,
    )
    return plan_weibayes(question)


@get(
    "/plans/finite-lot",
    operation_id="plan_finite_lot",
    summary="How many units of a lot of known size must be tested",
    tags=_TAGS,
    guards=[requires("lots.read")],
    opt={"problems": ["outside-domain"]},
    sync_to_thread=False,
)
def read_finite_lot_plan(
    lot_size: FromQuery[LotSize],
    confidence: FromQuery[Confidence],
    max_nonconforming: Nonconforming = None,
    tolerated_failures: FailuresPlanned = None,
    unit_count: UnitsTested = None,
    failure_count: FailuresFound = None,
) -> FiniteLotAnswer:
    """
    Give `max_nonconforming` and `allowed_failures` for a plan, or `unit_count` and
    `failure_count` for what a finished sample shows of the lot.
    """
    question = FiniteLotQuestion(
        lot_size=lot_size,
        confidence=confidence,
        max_nonconforming=max_nonconforming,
        allowed_failures=tolerated_failures,
        unit_count=unit_count,
        failure_count=failure_count,
    )
    return plan_finite_lot(question)


HANDLERS = [read_success_run_plan, read_weibayes_plan, read_finite_lot_plan]
