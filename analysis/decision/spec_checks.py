"""What makes a test specification contradict itself, and what bars its approval.

A draft must be free of contradictions. An approval must in addition promise nothing that
the plan does not keep, and nothing that the reduction does not do yet.
"""

import math
from collections import Counter
from collections.abc import Iterator

from analysis.decision.terms import Terms, planned_cycles, target_lives_each, terms_of
from analysis.decision.weibayes_plan import required_target_lives, worst_target_lives
from analysis.statistics.success_run import units_required_at
from analysis.statistics.weibayes import reaches_requirement
from schemas.cycles import STATION_MODES
from schemas.problems import ProblemError
from schemas.specs import Conditions, FailureDefinition, Plan, Requirement, ShapeAssumption, Spec


def draft_faults(spec: Spec) -> list[ProblemError]:
    """
    Contradictions in a specification, each with its place as a JSON Pointer.

    Parameters
    ----------
    spec : Spec
        The specification as its author wrote it; every single field is in range.

    Returns
    -------
    list of ProblemError
        Empty when the specification can be stored as a draft.

    Notes
    -----
    Only statements that cannot all hold, or that leave a rule without the limit
    it needs, are faults. Whether the plan demonstrates its requirement is asked
    when it is approved (`approval_faults`).
    """
    return [
        *_shape_faults(spec.shape),
        *_pressure_faults(spec.conditions),
        *_condition_faults(spec.conditions),
        *_mode_faults(spec.failure),
        *_limit_faults(spec.failure),
        *_failure_faults(spec.failure, spec.conditions),
        *_onset_faults(spec),
        *_plan_faults(spec.plan),
        *_length_faults(spec),
        *_plan_kind_faults(spec),
    ]


def approval_faults(spec: Spec) -> list[ProblemError]:
    """
    What bars the approval of a specification that is free of contradictions.

    Parameters
    ----------
    spec : Spec
        A draft for which `draft_faults` is empty.

    Returns
    -------
    list of ProblemError
        Empty when the specification can be approved.

    Notes
    -----
    A plan by counting must demonstrate each requirement: the chance that a lot
    exactly at the required reliability passes is at most 1 - C. Where units run
    beyond the target, the reliability to be shown is the one at the planned
    cycles, ``R**(ratio**shape)``, and the smallest shape of the range makes it
    largest and so hardest to show. A Weibayes plan ends at the sum of target
    lives that its requirement asks for, so it keeps its risk; but all its units
    together, none failed, must be able to get there.
    """
    by_counting = spec.plan.kind == "ATTRIBUTE"
    faults = _attribute_shortfalls(spec) if by_counting else _lives_out_of_reach(spec)
    if spec.failure.onset_is_failure:
        faults.append(
            _fault(
                "NOT_SUPPORTED_YET",
                "/failure/onset_is_failure",
                "A leak's onset is not judged as a failure yet; set it to false.",
            )
        )
    return faults


def settings_not_applied(spec: Spec) -> list[str]:
    """
    Settings of a specification that are kept but that no rule uses yet.

    They are named on every version of the specification, so that nobody relies
    on a limit that is not watched.
    """
    kept = {
        "reduction.onset": spec.reduction.onset,
        "reduction.warm_up_cycles": spec.reduction.warm_up_cycles,
    }
    return [name for name, setting in kept.items() if setting is not None]


def _fault(code: str, pointer: str, detail: str) -> ProblemError:
    return ProblemError(code=code, pointer=pointer, detail=detail)


def _shape_faults(shape: ShapeAssumption | None) -> Iterator[ProblemError]:
    if shape is None:
        return
    if shape.shape_low > shape.shape_high:
        yield _fault(
            "RANGE_REVERSED", "/shape/shape_low", "shape_low must not be above shape_high."
        )
    elif not shape.shape_low <= shape.assumed_shape <= shape.shape_high:
        yield _fault(
            "OUTSIDE_RANGE",
            "/shape/assumed_shape",
            f"assumed_shape must lie between shape_low ({shape.shape_low}) and "
            f"shape_high ({shape.shape_high}).",
        )


def _pressure_faults(conditions: Conditions) -> Iterator[ProblemError]:
    lower, upper = conditions.pressure_lower_mpa, conditions.pressure_upper_mpa
    if not lower < upper:
        yield _fault(
            "RANGE_REVERSED",
            "/conditions/pressure_lower_mpa",
            "pressure_lower_mpa must be below pressure_upper_mpa.",
        )
    invalid = conditions.pressure_invalidation_mpa
    if invalid is not None and invalid < upper:
        yield _fault(
            "OUTSIDE_RANGE",
            "/conditions/pressure_invalidation_mpa",
            "pressure_invalidation_mpa must not be below pressure_upper_mpa.",
        )


def _condition_faults(conditions: Conditions) -> Iterator[ProblemError]:
    pairs = (
        ("rise_time_min_s", conditions.rise_time_min_s, conditions.rise_time_max_s),
        (
            "fluid_temperature_min_c",
            conditions.fluid_temperature_min_c,
            conditions.fluid_temperature_max_c,
        ),
    )
    for name, low, high in pairs:
        if low is not None and high is not None and low > high:
            yield _fault(
                "RANGE_REVERSED",
                f"/conditions/{name}",
                f"{name} must not be above {name.replace('_min_', '_max_')}.",
            )
    for index, mode in enumerate(conditions.station_modes):
        if mode not in STATION_MODES:
            yield _fault(
                "UNKNOWN_STATION_MODE",
                f"/conditions/station_modes/{index}",
                f"{mode!r} is no station mode; the modes are {', '.join(STATION_MODES)}.",
            )


def _mode_faults(failure: FailureDefinition) -> Iterator[ProblemError]:
    for name, count in Counter(mode.name for mode in failure.modes).items():
        if count > 1:
            yield _fault("REPEATED", "/failure/modes", f"The mode {name!r} is named {count} times.")
    if not any(mode.relevant for mode in failure.modes):
        yield _fault(
            "NO_RELEVANT_MODE", "/failure/modes", "At least one failure mode must be relevant."
        )
    for index, mode in enumerate(failure.modes):
        if mode.seen_as in ("LEAK", "FUNCTION") and mode.detected_by != "INSPECTION":
            yield _fault(
                "CONTRADICTION",
                f"/failure/modes/{index}/detected_by",
                f"A mode seen as {mode.seen_as} shows only when a person looks: INSPECTION.",
            )
        if mode.critical and not mode.relevant:
            yield _fault(
                "CONTRADICTION",
                f"/failure/modes/{index}/critical",
                "A critical mode must be relevant.",
            )


def _limit_faults(failure: FailureDefinition) -> Iterator[ProblemError]:
    """Faults of modes that show in a way for which no limit is stated."""
    seen = {mode.seen_as for mode in failure.modes}
    decay_counts = any(mode.relevant and mode.seen_as == "DECAY" for mode in failure.modes)
    limits = (
        (decay_counts, "DECAY", "decay_limit_mpa", failure.decay_limit_mpa),
        (decay_counts, "DECAY", "persistence", failure.persistence),
        ("BURST" in seen, "BURST", "burst_below_mpa", failure.burst_below_mpa),
        ("LEAK" in seen, "LEAK", "leak_class_fails_at", failure.leak_class_fails_at),
    )
    for is_needed, seen_as, name, limit in limits:
        if is_needed and limit is None:
            yield _fault(
                "LIMIT_MISSING", f"/failure/{name}", f"A mode seen as {seen_as} needs {name}."
            )


def _failure_faults(failure: FailureDefinition, conditions: Conditions) -> Iterator[ProblemError]:
    burst = failure.burst_below_mpa
    if burst is not None and burst > conditions.pressure_lower_mpa:
        yield _fault(
            "OUTSIDE_RANGE",
            "/failure/burst_below_mpa",
            "burst_below_mpa must not be above pressure_lower_mpa: a full cycle is no burst.",
        )
    persistence = failure.persistence
    if persistence is not None and persistence.rule == "MOVING_AVERAGE" and persistence.cycles != 3:
        yield _fault(
            "OUTSIDE_RANGE",
            "/failure/persistence/cycles",
            "A moving average is taken over 3 cycles.",
        )


def _onset_faults(spec: Spec) -> Iterator[ProblemError]:
    onset = spec.reduction.onset
    if onset is not None and not 0 <= onset.baseline_blocks[0] < onset.baseline_blocks[1]:
        yield _fault(
            "RANGE_REVERSED",
            "/reduction/onset/baseline_blocks",
            "baseline_blocks are the first and the last block of the baseline, ascending.",
        )


def _plan_faults(plan: Plan) -> Iterator[ProblemError]:
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
    if plan.kind == "WEIBAYES" and plan.credit != "ONCE_AT_TARGET":
        return
    if any(_life_ratio(plan, each) < 1.0 for each in spec.requirement):
        name = "planned_cycles" if plan.planned_cycles is not None else "life_ratio"
        yield _fault(
            "SHORT_OF_TARGET",
            f"/plan/{name}",
            "Each unit must be planned to run to the target at least.",
        )


def _plan_kind_faults(spec: Spec) -> Iterator[ProblemError]:
    plan = spec.plan
    if plan.kind == "WEIBAYES":
        if spec.shape is None:
            yield _fault("SHAPE_MISSING", "/shape", "A WEIBAYES plan needs an assumed shape.")
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
            "An ATTRIBUTE plan beyond the target needs an assumed shape; at the target none.",
        )


def _attribute_shortfalls(spec: Spec) -> list[ProblemError]:
    """Requirements that a plan by counting does not demonstrate, with the units it would need."""
    plan = spec.plan
    return [
        _fault(
            "PLAN_DOES_NOT_DEMONSTRATE",
            "/plan/unit_count",
            f"{plan.unit_count} units with {plan.allowed_failures} allowed failures do not "
            f"demonstrate requirement {index}; {needed} units are needed.",
        )
        for index, requirement in enumerate(spec.requirement)
        if plan.unit_count < (needed := _units_needed(spec, requirement))
    ]


def _lives_out_of_reach(spec: Spec) -> list[ProblemError]:
    """Requirements whose target lives the plan's units cannot reach even if none fails."""
    if spec.shape is None:
        return []  # A fault of its own: such a plan needs a shape.
    faults = []
    for index, requirement in enumerate(spec.requirement):
        terms = terms_of(spec, requirement, after_data=False)
        needed = required_target_lives(terms)
        reached = terms.max_units * _lives_each(terms)
        if not reaches_requirement(reached, needed):
            detail = (
                f"{terms.max_units} units that all run to their planned cycles earn "
                f"{reached:.4g} target lives at the worst shape; requirement {index} needs "
                f"{needed:.4g}. Plan more units, more cycles or fewer allowed failures."
            )
            faults.append(_fault("PLAN_CANNOT_ACCEPT", "/plan/unit_count", detail))
    return faults


def _lives_each(terms: Terms) -> float:
    """Target lives of a unit that ran as planned, at the worst shape."""
    if terms.credit == "ONCE_AT_TARGET" and terms.planned_cycles < terms.target_cycles:
        return 0.0
    return worst_target_lives([terms.last_credited_cycles], terms).target_lives


def _units_needed(spec: Spec, requirement: Requirement) -> int:
    shape_low = spec.shape.shape_low if spec.shape is not None else 1.0  # at ratio 1 it is idle
    lives_each = target_lives_each(_life_ratio(spec.plan, requirement), shape_low)
    return units_required_at(
        math.log(requirement.reliability) * lives_each,
        requirement.confidence,
        allowed_failures=spec.plan.allowed_failures,
    )


def _life_ratio(plan: Plan, requirement: Requirement) -> float:
    """Planned cycles over target cycles."""
    return planned_cycles(plan, requirement.target_cycles) / requirement.target_cycles
