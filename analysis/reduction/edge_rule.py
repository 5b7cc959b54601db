"""The edges of the pressure band: what a sensor's uncertainty leaves open there, and who decides.

Guarded acceptance as ISO 14253-1 and JCGM 106 describe it (named from memory, not read here):
what is to be shown to lie inside a band must read inside it by the expanded uncertainty.
"""

from collections.abc import Callable, Iterable

from msgspec import UNSET, UnsetType, structs

from schemas.edge_rules import EdgeRule, EdgeShare
from schemas.specs import Spec
from schemas.stretches import NOT_COUNTED_REASONS, StretchSummary

COUNTED = 0
ONLY_EDGE_DOUBT = 1 << NOT_COUNTED_REASONS.index("EDGE_DOUBT")
"""What a cycle misses that counts where the reading decides, but not under a guarded band."""
_FOUND_OUT = 1 << NOT_COUNTED_REASONS.index("CALIBRATION_FOUND_OUT")
_UNDER_PRESSURE = 1 << NOT_COUNTED_REASONS.index("UNDER_PRESSURE")


def edge_parameters(
    spec: Spec, uncertainty_mpa: float | None, *, slack_mpa: float
) -> dict[str, float | None]:
    """
    Bound parameters of stage one that say where the edges are, and whether they are guarded.

    Parameters
    ----------
    spec : Spec
        With the band, the limit that invalidates and the rule at the edges.
    uncertainty_mpa : float or None
        Expanded uncertainty of the sensor, MPa; None where it is not on record.
    slack_mpa : float, keyword only
        By which every limit is widened.

    Returns
    -------
    dict
        ``edge_above_mpa`` and ``edge_below_mpa``: a peak beyond them may be outside the
        band. ``doubted_*`` are the same under a guarded band, else NULL, and no cycle
        is refused for being near. ``invalidation_mpa``: above it a unit is in doubt.

    Notes
    -----
    A guarded band runs from ``lower + U`` to ``upper - U``. The limit that invalidates
    is taken at ``limit - U``: there too only a reading that excludes the worst is taken
    for it. The trough, the decay and the burst limit are not guarded: the trough is near
    zero, where the uncertainty of a large full scale would refuse every cycle, and a
    decay is a difference of two readings of one sensor, in which most of it cancels.
    """
    conditions = spec.conditions
    above, below = None, None
    if uncertainty_mpa is not None:
        above = conditions.pressure_upper_mpa - uncertainty_mpa + slack_mpa
        below = conditions.pressure_lower_mpa + uncertainty_mpa - slack_mpa
    guards = conditions.edge_rule == "GUARDED"
    invalidation = conditions.pressure_invalidation_mpa
    if invalidation is not None:
        invalidation += slack_mpa - ((uncertainty_mpa or 0.0) if guards else 0.0)
    return {
        "edge_above_mpa": above,
        "edge_below_mpa": below,
        "doubted_above_mpa": above if guards else None,
        "doubted_below_mpa": below if guards else None,
        "invalidation_mpa": invalidation,
    }


def edge_tallies(misses: int, at_edge: int) -> tuple[int, int]:
    """
    Of cycles beyond the guarded band, those that the rule at the edges decides about.

    Parameters
    ----------
    misses : int
        Why these cycles do not count, as stage one says it; 0 if they do.
    at_edge : int
        How many of them lie within the uncertainty of an edge, or beyond that edge.

    Returns
    -------
    at_edge_cycles, guarded_cycles : int
        Those that count where the reading decides; and all that a guarded band may
        judge in another way, those near the limit that invalidates among them.

    Examples
    --------
    >>> edge_tallies(0, 7), edge_tallies(8, 7), edge_tallies(16, 7)
    ((7, 7), (0, 7), (0, 0))
    """
    # Where only the true pressure is doubted, the calibration that found it out is told too.
    counts = misses == COUNTED or (misses & ~_FOUND_OUT) == ONLY_EDGE_DOUBT
    return (at_edge if counts else 0), (0 if misses & _UNDER_PRESSURE else at_edge)


def with_edge_rule(spec: Spec, rule: EdgeRule) -> Spec:
    """The same specification with another rule at the edges of the band."""
    conditions = structs.replace(spec.conditions, edge_rule=rule)
    return structs.replace(spec, conditions=conditions)


def other_rule(spec: Spec) -> EdgeRule:
    """The rule at the edges that the specification does not take."""
    return "PLAIN" if spec.conditions.edge_rule == "GUARDED" else "GUARDED"


def plain_counted(stretch: StretchSummary, rule: EdgeRule) -> int:
    """Cycles of a stretch that count where the reading decides, whatever the rule is."""
    return stretch.counted_cycles + (stretch.at_edge_cycles if rule == "GUARDED" else 0)


def unsure_cycles(spec: Spec) -> Callable[[StretchSummary], int]:
    """Counted cycles of a stretch that a guarded band cannot judge: no uncertainty on record."""
    guards = spec.conditions.edge_rule == "GUARDED"

    def of_stretch(stretch: StretchSummary) -> int:
        is_unknown = guards and stretch.uncertainty_mpa is None
        return stretch.counted_cycles if is_unknown else 0

    return of_stretch


def edge_share_of(stretches: Iterable[StretchSummary], spec: Spec) -> EdgeShare | UnsetType:
    """
    How many of a unit's counted cycles lie within the uncertainty of an edge of the band.

    Parameters
    ----------
    stretches : iterable of StretchSummary
        The unit's stretches.
    spec : Spec
        Whose rule at the edges the stretches were judged by.

    Returns
    -------
    EdgeShare or UNSET
        UNSET where no stretch with counted cycles has an uncertainty on record.
    """
    rule = spec.conditions.edge_rule
    counting = [each for each in stretches if plain_counted(each, rule)]
    known = [each for each in counting if each.uncertainty_mpa is not None]
    if not known:
        return UNSET
    counted = sum(plain_counted(each, rule) for each in known)
    at_edge = sum(each.at_edge_cycles for each in known)
    return EdgeShare(
        uncertainty_known=len(known) == len(counting),
        counted_cycles=counted,
        cycles_at_edge=at_edge,
        share_at_edge=at_edge / counted,
        uncertainty_mpa=max(each.uncertainty_mpa or 0.0 for each in known),
    )


def edge_share_together(shares: Iterable[EdgeShare]) -> EdgeShare | UnsetType:
    """The shares of several units as one; UNSET without any."""
    known = [*shares]
    if not known:
        return UNSET
    counted = sum(each.counted_cycles for each in known)
    at_edge = sum(each.cycles_at_edge for each in known)
    return EdgeShare(
        uncertainty_known=all(each.uncertainty_known for each in known),
        counted_cycles=counted,
        cycles_at_edge=at_edge,
        share_at_edge=at_edge / counted,
        uncertainty_mpa=max(each.uncertainty_mpa for each in known),
    )
