"""Stretches that ended because no pressure came up any more: was it the unit or the rig?"""

from collections.abc import Collection, Iterable, Mapping
from datetime import timedelta

from analysis.reduction.stops import supply_of
from schemas.lots import RigSettings
from schemas.specs import CannotBuild
from schemas.stretches import StretchSummary
from schemas.unit_evidence import CannotBuildCause


def cannot_build_causes(
    stretches: Iterable[StretchSummary],
    still_open: Collection[int],
    rigs: Mapping[str, RigSettings],
    limits: CannotBuild | None,
) -> dict[int, CannotBuildCause]:
    """
    Cause of each stretch that ended in failed attempts to reach pressure.

    Parameters
    ----------
    stretches : iterable of StretchSummary
        Stretches of all units that are known, in any order.
    still_open : collection of int
        Keys of the stretches that have not ended. They are no stops yet, but
        they witness what happened on their supply.
    rigs : mapping of str to RigSettings
        For the supply of each station.
    limits : CannotBuild or None
        Attempts, time window and supply pressure; None: nothing is looked for.

    Returns
    -------
    dict of int to str
        By stretch key. RIG: another station of the supply failed to build within
        the window. UNIT: one counted a cycle within the window before the stop,
        and the supply pressure, if recorded, was in range. UNCLEAR: neither.
    """
    if limits is None:
        return {}
    known = [each for each in stretches if each.is_last_lap]
    failing = [each for each in known if each.under_pressure_at_end >= limits.attempts]
    sound = [each for each in known if each.under_pressure_at_end < limits.attempts]
    window = timedelta(seconds=limits.window_s)
    causes: dict[int, CannotBuildCause] = {}
    for each in failing:
        if each.stretch_key in still_open:
            continue
        if any(_stopped_together(each, other, window) for other in _beside(each, failing, rigs)):
            causes[each.stretch_key] = "RIG"
        elif _supply_is_in_range(each, limits) and any(
            _counted_before(each, other, window) for other in _beside(each, sound, rigs)
        ):
            causes[each.stretch_key] = "UNIT"
        else:
            causes[each.stretch_key] = "UNCLEAR"
    return causes


def _beside(
    stretch: StretchSummary,
    others: Iterable[StretchSummary],
    rigs: Mapping[str, RigSettings],
) -> list[StretchSummary]:
    """Those of the others that ran on another station of the same supply."""
    return [
        other
        for other in others
        if (other.rig_id, other.station_no) != (stretch.rig_id, stretch.station_no)
        and _supply(other, rigs) == _supply(stretch, rigs)
    ]


def _supply(stretch: StretchSummary, rigs: Mapping[str, RigSettings]) -> tuple[str, str]:
    return supply_of(rigs.get(stretch.rig_id), stretch.rig_id, stretch.station_no)


def _stopped_together(stretch: StretchSummary, other: StretchSummary, window: timedelta) -> bool:
    return abs(stretch.last_started_at - other.last_started_at) <= window


def _counted_before(stretch: StretchSummary, other: StretchSummary, window: timedelta) -> bool:
    """Whether the other station counted a cycle within the window before the stop."""
    stopped_at = stretch.last_started_at
    if other.counted_cycles == 0 or other.first_started_at > stopped_at:
        return False
    if other.last_started_at > stopped_at:
        return True
    return other.last_cycle_counted and stopped_at - other.last_started_at <= window


def _supply_is_in_range(stretch: StretchSummary, limits: CannotBuild) -> bool:
    lowest, recorded = limits.pressure_supply_min_mpa, stretch.supply_at_end_mpa
    return lowest is None or recorded is None or recorded >= lowest
