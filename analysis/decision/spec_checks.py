"""What makes a test specification contradict itself, and what bars its approval.

A draft must be free of contradictions. An approval must in addition promise nothing that
the plan does not keep, and nothing that the reduction does not do yet.
"""

from collections import Counter
from collections.abc import Iterator

from analysis.decision.plan_checks import plan_faults, promises_not_kept
from analysis.reduction.modes import mode_seen_as
from analysis.reduction.unit_onset import onset_settings
from schemas.cycles import STATION_MODES
from schemas.problems import ProblemError
from schemas.specs import Conditions, FailureDefinition, ShapeAssumption, Spec


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
        *plan_faults(spec),
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
    A plan must demonstrate each requirement: its exact chance of accepting a lot
    exactly at the required reliability is at most 1 - C. Where units run beyond the
    target, the reliability to be shown by counting is the one at the planned cycles,
    ``R**(ratio**shape)``, and the smallest shape of the range makes it largest and so
    hardest to show. And its units, none failed, must be able to get it accepted.
    """
    return [*promises_not_kept(spec), *_onset_failure_faults(spec)]


def settings_not_applied(spec: Spec) -> list[str]:
    """
    Settings of a specification that are kept but that no rule uses.

    They are named on every version of the specification, so that nobody relies
    on a limit that is not watched: today a search for leak onset whose dead band or
    alarm is 0, as an earlier version of the service let it be approved.
    """
    asked, applied = spec.reduction.onset, onset_settings(spec)
    return ["reduction.onset"] if asked is not None and applied is None else []


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
    for name in ("dead_band_mpa", "alarm_mpa"):
        if onset is not None and getattr(onset, name) <= 0:
            yield _fault(
                "OUTSIDE_RANGE",
                f"/reduction/onset/{name}",
                f"{name} must be above 0: every sound unit would have an onset.",
            )


def _onset_failure_faults(spec: Spec) -> Iterator[ProblemError]:
    """What bars leak onset from being a failure: it could not be found, or would not count."""
    if not spec.failure.onset_is_failure:
        return
    onset = spec.reduction.onset
    if onset is None:
        yield _fault("LIMIT_MISSING", "/reduction/onset", "onset_is_failure needs its settings.")
    elif onset.block_cycles * onset.baseline_blocks[1] >= _shortest_plan(spec):
        yield _fault(
            "CONTRADICTION",
            "/reduction/onset/baseline_blocks",
            "The baseline must end before the planned cycles: no onset is judged before that.",
        )
    mode = mode_seen_as(spec, "DECAY")
    if mode is None or not mode.relevant:
        yield _fault(
            "NO_RELEVANT_MODE",
            "/failure/onset_is_failure",
            "onset_is_failure needs a relevant mode seen as DECAY.",
        )


def _shortest_plan(spec: Spec) -> int:
    """Fewest cycles that any requirement plans for a unit."""
    return min(spec.plan.planned_for(each.target_cycles) for each in spec.requirement)
