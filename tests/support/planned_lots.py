"""Plans of every kind for the clamp cylinder, and lots told by their outcomes."""

from typing import Any

from lives import spec

from analysis.decision.counting import LotState
from analysis.decision.terms import Terms, terms_of
from schemas.lives import Outcome, UnitLife
from schemas.specs import PlanKind, Spec

TARGET, PLANNED = 100_000, 200_000


def plan_spec(kind: PlanKind, *, with_shape: bool = True, **plan: Any) -> Spec:
    """R 0.95 at 100,000 cycles with confidence 0.90; shape 2.0 to 2.6, 12 units, no failure."""
    content = {"unit_count": 12, "allowed_failures": 0, "planned_cycles": PLANNED} | plan
    shape = (2.0, 2.0, 2.6) if with_shape else None
    return spec(kind, (0.95, 0.90, TARGET), shape=shape, plan=content)


def plan_terms(kind: PlanKind, *, with_shape: bool = True, **plan: Any) -> Terms:
    each = plan_spec(kind, with_shape=with_shape, **plan)
    return terms_of(each, each.requirement[0], after_data=False)


def state_of(*results: Outcome, lives: list[UnitLife] | None = None) -> LotState:
    """A lot in the order of its places."""
    return LotState(
        outcomes=list(results),
        serials=[f"U-{number:03}" for number in range(1, len(results) + 1)],
        place_count=len(results),
        has_started=True,
        end_checks_due=[],
        in_place_order=list(range(len(results))),
        lives=lives or [],
    )
