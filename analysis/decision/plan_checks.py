"""What makes the plan of a specification contradict itself, and what it does not keep."""

import math
from collections.abc import Iterator

from analysis.decision.plan_risks import plan_risks
from analysis.decision.plan_stops import stops_in_units
from analysis.decision.terms import Terms, planned_cycles, target_lives_each, terms_of
from analysis.decision.weibayes_plan import required_target_lives, worst_target_lives
from analysis.errors import OutsideDomainError
from analysis.statistics.rounding import risk_limit
from analysis.statistics.success_run import units_required_at
from analysis.statistics.weibayes import reaches_requirement
from schemas.plan_kinds import AnytimeLimits, SecondStage, SequentialLimits
from schemas.problems import ProblemError
from schemas.specs import Plan, Requirement, Spec

_LIMITS_OF_KIND = {
    "TWO_STAGE": "second_stage",
    "SEQUENTIAL": "sequential",
    "ANYTIME": "anytime",
}


def plan_faults(spec: Spec) -> Iterator[ProblemError]:
    """
    Contradictions in the plan of a specification.

    Parameters
    ----------
    spec : Spec
        The specification as its author wrote it.

    Yields
    ------
    ProblemError
        With its place as a JSON Pointer.
    """
    yield from _count_faults(spec.plan)
    yield from _length_faults(spec)
    yield from _shape_and_credit_faults(spec)
    yield from _limits_faults(spec)
    yield from _lot_size_faults(spec.plan)


def promises_not_kept(spec: Spec) -> list[ProblemError]:
    """
    Requirements that a plan free of contradictions does not show, or cannot accept.

    Parameters
    ----------
    spec : Spec
        With a plan for which `plan_faults` is empty.

    Returns
    -------
    list of ProblemError
        The exact chance of accepting a lot at the requirement must be at most 1 - C for
        every plan, and a lot without a failure must be able to pass.
    """
    if spec.plan.adds_target_lives and spec.shape is None:
        return []  # A fault of its own: such a plan needs a shape.
    return [
        fault
        for index, requirement in enumerate(spec.requirement)
        for fault in _not_kept(spec, requirement, index)
    ]


def _fault(code: str, pointer: str, detail: str) -> ProblemError:
    return ProblemError(code=code, pointer=pointer, detail=detail)


def _count_faults(plan: Plan) -> Iterator[ProblemError]:
    if (plan.planned_cycles is None) == (plan.life_ratio is None):
        yield _fault("EXACTLY_ONE", "/plan", "Give exactly one of planned_cycles and life_ratio.")
    if plan.max_units is not None and plan.max_units < plan.unit_count:
        yield _fault("OUTSIDE_RANGE", "/plan/max_units", "max_units must not be below unit_count.")
    if plan.allowed_failures >= plan.unit_count:
        yield _fault(
            "OUTSIDE_RANGE",
            "/plan/allowed_failures",
            "allowed_failures must be below unit_count: a lot whose units all fail shows nothing.",
        )


def _length_faults(spec: Spec) -> Iterator[ProblemError]:
    """Faults of the cycles each unit runs against the targets that are to be shown."""
    plan = spec.plan
    if plan.adds_target_lives and plan.credit != "ONCE_AT_TARGET":
        return
    if any(_life_ratio(plan, each) < 1.0 for each in spec.requirement):
        name = "planned_cycles" if plan.planned_cycles is not None else "life_ratio"
        yield _fault(
            "SHORT_OF_TARGET",
            f"/plan/{name}",
            "Each unit must be planned to run to the target at least.",
        )


def _shape_and_credit_faults(spec: Spec) -> Iterator[ProblemError]:
    plan = spec.plan
    if plan.adds_target_lives and plan.kind != "ATTRIBUTE":
        if spec.shape is None:
            detail = f"A plan of kind {plan.kind} on target lives needs an assumed shape."
            yield _fault("SHAPE_MISSING", "/shape", detail)
        if plan.credit is None:
            yield _fault(
                "CREDIT_MISSING",
                "/plan/credit",
                "A WEIBAYES plan needs credit: TO_PLANNED or ONCE_AT_TARGET.",
            )
        return
    if plan.credit is not None:
        yield _fault(
            "CONTRADICTION", "/plan/credit", "An ATTRIBUTE plan counts units; it has no credit."
        )
    if spec.shape is None and any(_life_ratio(plan, each) > 1.0 for each in spec.requirement):
        yield _fault(
            "SHAPE_MISSING",
            "/shape",
            f"A plan by counting ({plan.kind}) beyond the target needs an assumed shape; at the "
            "target none.",
        )


def _limits_faults(spec: Spec) -> Iterator[ProblemError]:
    """Faults of what a kind of plan states besides its units and failures."""
    plan = spec.plan
    for kind, name in _LIMITS_OF_KIND.items():
        given = getattr(plan, name) is not None
        if given and plan.kind != kind:
            detail = f"Only a plan of kind {kind} states {name}."
            yield _fault("CONTRADICTION", f"/plan/{name}", detail)
        if not given and plan.kind == kind:
            yield _fault("LIMIT_MISSING", f"/plan/{name}", f"A plan of kind {kind} states {name}.")
    if plan.kind == "TWO_STAGE" and plan.second_stage is not None:
        yield from _two_stage_faults(plan, plan.second_stage)
    if plan.kind == "SEQUENTIAL" and plan.sequential is not None:
        yield from _sequential_faults(spec, plan.sequential)
    if plan.kind == "ANYTIME" and plan.anytime is not None:
        yield from _anytime_faults(plan, plan.anytime)


def _two_stage_faults(plan: Plan, second: SecondStage) -> Iterator[ProblemError]:
    place = "/plan/second_stage"
    if second.allowed_failures <= plan.allowed_failures:
        yield _fault(
            "OUTSIDE_RANGE",
            f"{place}/allowed_failures",
            "The second stage must allow more failures in all than the first.",
        )
    by_lives = plan.adds_target_lives
    lives: tuple[str, ...] = ("first_target_lives",)
    units: tuple[str, ...] = ("unit_count",)
    form = "on target lives" if by_lives else "by counting"
    asked = (lives, units) if by_lives else (units, lives)
    yield from _needed_and_unwanted(second, place, form, asked)
    both = plan.unit_count + (second.unit_count or 0)
    if not by_lives and plan.max_units is not None and plan.max_units != both:
        yield _fault(
            "CONTRADICTION",
            "/plan/max_units",
            "By counting, both stages together are the most units; leave max_units out.",
        )


def _sequential_faults(spec: Spec, limits: SequentialLimits) -> Iterator[ProblemError]:
    place = "/plan/sequential"
    if any(limits.good_reliability <= each.reliability for each in spec.requirement):
        yield _fault(
            "OUTSIDE_RANGE",
            f"{place}/good_reliability",
            "good_reliability must lie above every required reliability.",
        )
    if limits.producer_risk + limits.consumer_risk >= 1.0:
        yield _fault(
            "OUTSIDE_RANGE",
            f"{place}/producer_risk",
            "Both risks together must be below 1; otherwise the lines cross.",
        )
    by_lives = spec.plan.adds_target_lives
    form = "on target lives" if by_lives else "by counting"
    last: tuple[str, ...] = ("last_target_lives",)
    yield from _needed_and_unwanted(limits, place, form, (last, ()) if by_lives else ((), last))


def _anytime_faults(plan: Plan, limits: AnytimeLimits) -> Iterator[ProblemError]:
    if not plan.adds_target_lives:
        unwanted = ("cap_target_lives", "give_up_evidence")
        yield from _needed_and_unwanted(limits, "/plan/anytime", "by counting", ((), unwanted))


def _needed_and_unwanted(
    limits: SecondStage | SequentialLimits | AnytimeLimits,
    place: str,
    form: str,
    names: tuple[tuple[str, ...], tuple[str, ...]],
) -> Iterator[ProblemError]:
    needed, unwanted = names
    for name in needed:
        if getattr(limits, name) is None:
            yield _fault("LIMIT_MISSING", f"{place}/{name}", f"A plan {form} states {name}.")
    for name in unwanted:
        if getattr(limits, name) is not None:
            yield _fault("CONTRADICTION", f"{place}/{name}", f"A plan {form} has no {name}.")


def _lot_size_faults(plan: Plan) -> Iterator[ProblemError]:
    if plan.lot_size is None:
        return
    if plan.adds_target_lives or plan.kind not in ("ATTRIBUTE", "ANYTIME"):
        yield _fault(
            "CONTRADICTION",
            "/plan/lot_size",
            "Only ATTRIBUTE and ANYTIME plans by counting know the size of the lot.",
        )
    if plan.places > plan.lot_size:
        yield _fault(
            "OUTSIDE_RANGE", "/plan/lot_size", "A lot must hold as many units as the plan may test."
        )


def _not_kept(spec: Spec, requirement: Requirement, index: int) -> Iterator[ProblemError]:
    terms = terms_of(spec, requirement, after_data=False)
    try:
        risks = plan_risks(terms)
    except OutsideDomainError as error:
        detail = f"No plan of this kind can be made for requirement {index}: {error}."
        yield _fault("PLAN_CANNOT_ACCEPT", "/plan", detail)
        return
    if risks.at_requirement > risk_limit(terms.confidence):
        yield _fault("PLAN_DOES_NOT_DEMONSTRATE", *_shortfall(spec, terms, index))
    elif terms.adds_target_lives:
        yield from _lives_out_of_reach(terms, index)
    elif terms.kind != "ATTRIBUTE" and max(stops_in_units(terms).accept_at) < 0:
        detail = (
            f"{terms.max_units} units never accept requirement {index}, even without a failure."
        )
        yield _fault("PLAN_CANNOT_ACCEPT", "/plan/unit_count", detail)


def _shortfall(spec: Spec, terms: Terms, index: int) -> tuple[str, str]:
    """Where and in which words a plan is told that it lets too much pass."""
    plan = spec.plan
    if terms.kind == "ATTRIBUTE" and terms.lot_size is None:
        needed = _units_needed(terms)
        return "/plan/unit_count", (
            f"{plan.unit_count} units with {plan.allowed_failures} allowed failures do not "
            f"demonstrate requirement {index}; {needed} units are needed."
        )
    chance = plan_risks(terms).at_requirement
    return "/plan", (
        f"The plan accepts {chance:.4g} of the lots exactly at requirement {index}; at most "
        f"{1.0 - terms.confidence:.4g} may pass. Allow fewer failures, or test longer."
    )


def _lives_out_of_reach(terms: Terms, index: int) -> Iterator[ProblemError]:
    """A requirement whose target lives the plan's units cannot reach even if none fails."""
    needed = required_target_lives(terms, 0)
    reached = terms.max_units * _lives_each(terms)
    if not reaches_requirement(reached, needed):
        detail = (
            f"{terms.max_units} units that all run to their planned cycles earn "
            f"{reached:.4g} target lives at the worst shape; requirement {index} needs "
            f"{needed:.4g}. Plan more units, more cycles or fewer allowed failures."
        )
        yield _fault("PLAN_CANNOT_ACCEPT", "/plan/unit_count", detail)


def _lives_each(terms: Terms) -> float:
    """Target lives of a unit that ran as planned, at the worst shape."""
    if terms.credit == "ONCE_AT_TARGET" and terms.planned_cycles < terms.target_cycles:
        return 0.0
    return worst_target_lives([terms.last_credited_cycles], terms).target_lives


def _units_needed(terms: Terms) -> int:
    shape_low = terms.shape.shape_low if terms.shape is not None else 1.0  # at ratio 1 it is idle
    lives_each = target_lives_each(terms.life_ratio, shape_low)
    return units_required_at(
        math.log(terms.reliability) * lives_each,
        terms.confidence,
        allowed_failures=terms.allowed_failures,
    )


def _life_ratio(plan: Plan, requirement: Requirement) -> float:
    """Planned cycles over target cycles."""
    return planned_cycles(plan, requirement.target_cycles) / requirement.target_cycles
