"""What a plan promises for one requirement: the numbers that a verdict is measured by."""

import math

from msgspec import Struct

from analysis.errors import OutsideDomainError
from schemas.plan_kinds import AnytimeLimits, SecondStage, SequentialLimits
from schemas.specs import Credit, Plan, PlanKind, Requirement, ShapeAssumption, Spec

_LARGEST_EXPONENT = 600.0  # exp(600) target lives per unit is a number; more adds no sense


class Terms(Struct, frozen=True, kw_only=True):
    """
    One requirement with the plan that is to show it.

    Credit stops at `last_credited_cycles`: the planned cycles, or the target where a
    unit is credited once there. `bars_acceptance` is true when the specification had
    to come before the first cycle and did not.
    """

    kind: PlanKind
    reliability: float
    confidence: float
    target_cycles: int
    planned_cycles: int
    last_credited_cycles: int
    allowed_failures: int
    unit_count: int
    max_units: int
    credit: Credit | None
    shape: ShapeAssumption | None
    bars_acceptance: bool
    second_stage: SecondStage | None = None
    sequential: SequentialLimits | None = None
    anytime: AnytimeLimits | None = None
    lot_size: int | None = None

    @property
    def adds_target_lives(self) -> bool:
        """Whether the plan adds up target lives; else it counts units."""
        return self.kind == "WEIBAYES" or self.credit is not None

    @property
    def most_failures(self) -> int:
        """Failures above which the plan refuses whatever else happens."""
        if self.second_stage is not None:
            return self.second_stage.allowed_failures
        return self.allowed_failures

    @property
    def life_ratio(self) -> float:
        """Planned cycles over target cycles."""
        return self.planned_cycles / self.target_cycles


def planned_cycles(plan: Plan, target_cycles: int) -> int:
    """
    Cycles that each unit is planned to run for a requirement; at least one.

    A life ratio so small that it rounds to no cycle at all would have no logarithm.
    """
    return max(1, plan.planned_for(target_cycles))


def terms_of(spec: Spec, requirement: Requirement, *, after_data: bool) -> Terms:
    """
    Numbers by which a verdict on one requirement is measured.

    Parameters
    ----------
    spec : Spec
        The specification.
    requirement : Requirement
        One of its requirements.
    after_data : bool, keyword only
        True if the specification was assigned after the first cycle.

    Returns
    -------
    Terms

    Raises
    ------
    OutsideDomainError
        If the plan needs a shape that the specification does not state; such a
        specification cannot be approved.
    """
    plan = spec.plan
    terms = Terms(
        kind=plan.kind,
        reliability=requirement.reliability,
        confidence=requirement.confidence,
        target_cycles=requirement.target_cycles,
        planned_cycles=planned_cycles(plan, requirement.target_cycles),
        last_credited_cycles=plan.credit_ends_at(requirement.target_cycles),
        allowed_failures=plan.allowed_failures,
        unit_count=plan.unit_count,
        max_units=plan.places,
        credit=plan.credit,
        shape=spec.shape,
        bars_acceptance=spec.spec_before_data and after_data,
        second_stage=plan.second_stage,
        sequential=plan.sequential,
        anytime=plan.anytime,
        lot_size=plan.lot_size,
    )
    needs_shape = plan.adds_target_lives or terms.planned_cycles != terms.target_cycles
    if needs_shape and spec.shape is None:
        raise OutsideDomainError("shape", None, "given for a plan that is not run to the target")
    return terms


def target_lives_each(life_ratio: float, shape: float) -> float:
    """
    Target lives of one unit that runs `life_ratio` times the target, kept finite.

    Examples
    --------
    >>> round(target_lives_each(2.0, 2.0), 12)
    4.0
    """
    return math.exp(min(shape * math.log(life_ratio), _LARGEST_EXPONENT))
