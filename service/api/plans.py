"""Planning over HTTP: nothing is stored."""

from __future__ import annotations

from typing import Annotated

from litestar import get
from litestar.params import FromQuery, QueryParameter

from schemas.estimates import SuccessRunPlan
from schemas.plans import WeibayesPlan, WeibayesQuestion
from schemas.quantities import (
    Confidence,
    FailureCount,
    PositiveCycles,
    Reliability,
    Shape,
    UnitCount,
)
from service.auth import requires
from service.workflows.plans import plan_success_run, plan_weibayes

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


HANDLERS = [read_success_run_plan, read_weibayes_plan]
