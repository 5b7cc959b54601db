"""Which failure mode an observation belongs to, and whether it counts."""

from collections.abc import Iterable

from schemas.lots import NewInspection
from schemas.specs import FailureMode, Spec

UNANALYSED = "UNANALYSED"


def gravest(modes: Iterable[FailureMode]) -> FailureMode | None:
    """The mode that hurts most: critical before others, relevant before not."""
    return max(modes, key=lambda mode: (mode.critical, mode.relevant), default=None)


def mode_seen_as(spec: Spec, seen_as: str) -> FailureMode | None:
    """Mode of an unanalysed failure: the gravest one that shows in this way."""
    return gravest(mode for mode in spec.failure.modes if mode.seen_as == seen_as)


def mode_named(spec: Spec, name: str | None) -> FailureMode | None:
    """Mode with that name, or None."""
    return next((mode for mode in spec.failure.modes if mode.name == name), None)


def inspected_modes(spec: Spec, seen_as: str) -> list[FailureMode]:
    """Relevant modes that only an inspection can find, of one way to show."""
    return [
        mode
        for mode in spec.failure.modes
        if mode.relevant and mode.detected_by == "INSPECTION" and mode.seen_as == seen_as
    ]


def needs_inspection(spec: Spec) -> bool:
    """Whether a relevant mode can hide until an inspection."""
    return any(mode.relevant and mode.detected_by == "INSPECTION" for mode in spec.failure.modes)


def may_be_critical(spec: Spec, *, rows_are_silent: bool) -> bool:
    """
    Whether a failure that nobody has seen yet may be a critical one.

    Where rows have arrived, a mode that shows in them has not occurred; while
    they are missing, any mode may have.
    """
    return any(
        mode.relevant and mode.critical and (rows_are_silent or mode.detected_by == "INSPECTION")
        for mode in spec.failure.modes
    )


def failure_found(inspection: NewInspection, spec: Spec) -> FailureMode | None:
    """
    Mode of the failure that an inspection found.

    Parameters
    ----------
    inspection : NewInspection
        With leak class, function check and, where known, the failure mode.
    spec : Spec
        Whose leak class limit and modes decide.

    Returns
    -------
    FailureMode or None
        The named mode, else the gravest of those that show in this way; None
        when nothing was found that the specification calls a failure.
    """
    limit = spec.failure.leak_class_fails_at
    leaks = limit is not None and inspection.leak_class is not None
    found: list[FailureMode | None] = []
    if leaks and inspection.leak_class >= limit:  # type: ignore[operator]
        found.append(mode_seen_as(spec, "LEAK"))
    if inspection.function_check == "FAIL":
        found.append(mode_seen_as(spec, "FUNCTION"))
    if not found:
        return None
    return mode_named(spec, inspection.failure_mode) or gravest(mode for mode in found if mode)


def is_clean(inspection: NewInspection, spec: Spec) -> bool:
    """Whether an inspection shows that no relevant mode hides in the unit."""
    if failure_found(inspection, spec) is not None:
        return False
    limit = spec.failure.leak_class_fails_at
    if inspected_modes(spec, "LEAK") and (inspection.leak_class is None or limit is None):
        return False
    return not (inspected_modes(spec, "FUNCTION") and inspection.function_check != "PASS")


def sees_dry_unit(inspection: NewInspection, spec: Spec) -> bool:
    """Whether an inspection after a low-fluid stop clears the unit of an external leak."""
    if inspection.leak_class is None or failure_found(inspection, spec) is not None:
        return False
    limit = spec.failure.leak_class_fails_at
    return inspection.leak_class < (_CLASS_OF_FALLING_DROPS if limit is None else limit)


_CLASS_OF_FALLING_DROPS = 4
"""Leak class from which drops fall (visual classes 0 to 5 of ISO/TR 11340)."""
