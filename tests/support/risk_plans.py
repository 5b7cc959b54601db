"""Plans of every kind whose risks are proven: as a specification names them, and as rules apart."""

from typing import Any, Literal

from lives import spec
from msgspec import Struct
from risk_rules import (
    CONFIDENCE,
    RELIABILITY,
    TARGET,
    CountRule,
    by_sums,
    count_in_any_order,
    fixed_count,
    fixed_sum,
    fixed_units,
    sequential_count,
    sequential_sums,
    sums_by_evidence,
    two_stage_count,
    two_stage_sum,
    units_by_evidence,
    whole_lives,
)

from analysis.decision.terms import Terms, terms_of

PLANNED = 2 * TARGET
Clock = Literal["LIVES", "UNITS"]


class ProvenPlan(Struct, frozen=True, kw_only=True):
    """
    A plan to be proven.

    `plan` is what a specification says of it; None for the naive rule, which nobody can have
    approved. `clock` is what its rule looks at: target lives, or units (also where
    each of them is one whole life).
    """

    name: str
    clock: Clock
    places: int
    rule: Any
    plan: dict[str, Any] | None

    @property
    def terms(self) -> Terms | None:
        """What the product measures by; None for the naive rule."""
        return None if self.plan is None else terms_of_plan(self.plan)


def terms_of_plan(plan: dict[str, Any]) -> Terms:
    """R 0.95 at the target with confidence 0.90, the shape known to be 2."""
    content = {name: value for name, value in plan.items() if name not in ("kind", "overdue_hours")}
    each = spec(
        plan["kind"], (RELIABILITY, CONFIDENCE, TARGET), shape=(2.0, 2.0, 2.0), plan=content
    )
    return terms_of(each, each.requirement[0], after_data=False)


def proven_plans() -> list[ProvenPlan]:
    """Every kind of plan, and the two naive rules beside them."""
    return [*_by_counting(), *_on_target_lives(), *_any_time()]


def _counted(
    name: str, kind: str, rule: CountRule, *, units: int, allowed: int, **more: Any
) -> ProvenPlan:
    plan = {
        "kind": kind,
        "unit_count": units,
        "allowed_failures": allowed,
        "planned_cycles": TARGET,
    } | more
    second = more.get("second_stage", {}).get("unit_count", 0)
    places = more.get("max_units", units + second)
    return ProvenPlan(name=name, clock="UNITS", places=places, rule=rule, plan=plan)


def _on_lives(
    name: str, kind: str, rule: Any, *, units: int, allowed: int, **more: Any
) -> ProvenPlan:
    once = more.get("credit") == "ONCE_AT_TARGET"
    plan = {
        "kind": kind,
        "unit_count": 12,
        "max_units": units,
        "allowed_failures": allowed,
        "planned_cycles": TARGET if once else PLANNED,
        "credit": "TO_PLANNED",
    } | more
    if kind == "WEIBAYES":
        plan |= {"unit_count": units}
    clock: Clock = "UNITS" if once else "LIVES"
    return ProvenPlan(name=name, clock=clock, places=units, rule=rule, plan=plan)


def _by_counting() -> list[ProvenPlan]:
    lines = {"good_reliability": 0.995, "producer_risk": 0.1, "consumer_risk": 0.08}
    return [
        _counted("ATTRIBUTE_45_0", "ATTRIBUTE", fixed_count(45, 0), units=45, allowed=0),
        _counted("ATTRIBUTE_77_1", "ATTRIBUTE", fixed_count(77, 1), units=77, allowed=1),
        _counted(
            "TWO_STAGE_50_43",
            "TWO_STAGE",
            two_stage_count(50, 43),
            units=50,
            allowed=0,
            second_stage={"allowed_failures": 1, "unit_count": 43},
        ),
        _counted(
            "SEQUENTIAL_UNITS",
            "SEQUENTIAL",
            sequential_count(0.995, 0.1, 0.08, units=120, allowed=2),
            units=120,
            allowed=2,
            sequential=lines,
        ),
    ]


def _on_target_lives() -> list[ProvenPlan]:
    second = two_stage_sum(48.0)
    return [
        _on_lives("WEIBAYES_12_0", "WEIBAYES", by_sums([fixed_sum(0)]), units=12, allowed=0),
        _on_lives("WEIBAYES_20_1", "WEIBAYES", by_sums([fixed_sum(1)] * 2), units=20, allowed=1),
        _on_lives(
            "TWO_STAGE_LIVES",
            "TWO_STAGE",
            by_sums([48.0, second]),
            units=26,
            allowed=0,
            second_stage={"allowed_failures": 1, "first_target_lives": 48.0},
        ),
        _on_lives(
            "SEQUENTIAL_LIVES",
            "SEQUENTIAL",
            sequential_sums(0.99, 0.1, 0.07, last=160.0, allowed=4),
            units=60,
            allowed=4,
            sequential={
                "good_reliability": 0.99,
                "producer_risk": 0.1,
                "consumer_risk": 0.07,
                "last_target_lives": 160.0,
            },
        ),
    ]


def _any_time() -> list[ProvenPlan]:
    priors = ("CLEAN", "EVEN", "PATIENT")
    naive_sums = by_sums([fixed_sum(r) for r in range(8)])
    naive_units = count_in_any_order([fixed_units(r) for r in range(7)])
    on_lives = [
        _on_lives(
            f"ANYTIME_{prior}_LIVES",
            "ANYTIME",
            by_sums(sums_by_evidence(prior, 3)),
            units=60,
            allowed=3,
            anytime={"prior": prior},
        )
        for prior in priors
    ]
    by_units = [
        _counted(
            f"ANYTIME_{prior}_UNITS",
            "ANYTIME",
            count_in_any_order(units_by_evidence(prior, 2)),
            units=20,
            allowed=2,
            max_units=200,
            anytime={"prior": prior},
        )
        for prior in priors
    ]
    once = _on_lives(
        "ANYTIME_EVEN_ONCE",
        "ANYTIME",
        whole_lives(by_sums(sums_by_evidence("EVEN", 3))),
        units=200,
        allowed=3,
        credit="ONCE_AT_TARGET",
        anytime={"prior": "EVEN"},
    )
    return [
        *on_lives,
        *by_units,
        once,
        ProvenPlan(name="NAIVE_LIVES", clock="LIVES", places=60, rule=naive_sums, plan=None),
        ProvenPlan(name="NAIVE_UNITS", clock="UNITS", places=200, rule=naive_units, plan=None),
    ]
