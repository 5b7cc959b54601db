"""Doubts about how a unit was tested: too little pressure, too much, no reading of either."""

from collections.abc import Sequence

from msgspec import UNSET, UnsetType

from analysis.reduction.edge_rule import unsure_cycles
from analysis.reduction.endings import LifeEnd
from analysis.reduction.order import up_to_logged
from analysis.reduction.readings import (
    Doubt,
    excluded,
    most_before,
    with_unrecorded,
    without_cycles,
)
from analysis.reduction.rules import full_scale_mpa
from schemas.holds import HoldEvidence
from schemas.specs import Spec
from schemas.stretches import FULL_SCALE, OVER_INVALIDATION, StretchSummary
from schemas.unit_evidence import UnitEvidence


def cycle_doubts(
    evidence: UnitEvidence, stretches: Sequence[StretchSummary], spec: Spec, end: LifeEnd
) -> list[Doubt]:
    """
    What the cycles up to a life's end leave in doubt about it.

    Parameters
    ----------
    evidence : UnitEvidence
        For the full scale of the sensors.
    stretches : sequence of StretchSummary
        The unit's stretches in order.
    spec : Spec
        The limits. A limit that is not stated raises nothing.
    end : LifeEnd
        How the life ends as the evidence stands.

    Returns
    -------
    list of Doubt
        A share of cycles below the lower limit that is above its own limit, and any
        cycle above the invalidation limit: the life stands, or the unit is void. So
        many peaks at full scale: those cycles count, or do not. A condition that was
        not recorded: it was met, or not. Under a guarded band cycles of a sensor whose
        uncertainty nobody recorded: the reading decides, or they do not count.
    """
    lived = up_to_logged(stretches, end.at_logged)
    doubts = [
        _under_pressure(lived, spec, end),
        _over_pressure(lived, spec, end),
        _clipped(evidence, lived, stretches, spec, end),
        _not_recorded(lived, stretches, spec, end),
        _unsure(lived, stretches, spec, end),
    ]
    return [doubt for doubt in doubts if doubt is not None]


def absent_cycles(stretch: StretchSummary) -> int:
    """Counted cycles of a stretch for which an upload lacks the column of a condition."""
    return stretch.condition_absent_cycles


def clipped_cycles(stretch: StretchSummary) -> int:
    """Counted cycles of a stretch whose peak is at the full scale of the sensor."""
    return stretch.clipped_counted_cycles


def share_above_limit(cycles: int, end: LifeEnd, spec: Spec) -> float | None:
    """Share of the logged test cycles up to an ending, if above the limit for such shares."""
    limit = spec.reduction.under_pressure_share_max
    if limit is None or end.up_to.test_cycles == 0:
        return None
    share = cycles / end.up_to.test_cycles
    return share if share > limit else None


def _under_pressure(lived: Sequence[StretchSummary], spec: Spec, end: LifeEnd) -> Doubt | None:
    cycles = end.up_to.under_pressure_cycles
    share = share_above_limit(cycles, end, spec)
    if share is None:
        return None
    figures = HoldEvidence(
        cycles=cycles,
        quantity="under_pressure_share",
        measured=share,
        limit=_or_unset(spec.reduction.under_pressure_share_max),
    )
    where = [
        _where(each, "UNDER_PRESSURE", each.tally.under_pressure_cycles)
        for each in lived
        if each.tally.under_pressure_cycles
    ]
    return Doubt(
        name="UNDER_PRESSURE_SHARE", evidence=[figures, *where], best=end, worst=excluded(end)
    )


def _over_pressure(lived: Sequence[StretchSummary], spec: Spec, end: LifeEnd) -> Doubt | None:
    if not end.up_to.invalidating_cycles:
        return None
    where = [
        _where(
            each,
            OVER_INVALIDATION,
            each.tally.invalidating_cycles,
            limit=spec.conditions.pressure_invalidation_mpa,
        )
        for each in lived
        if each.tally.invalidating_cycles
    ]
    return Doubt(name="OVER_PRESSURE", evidence=where, best=end, worst=excluded(end))


def _clipped(
    evidence: UnitEvidence,
    lived: Sequence[StretchSummary],
    stretches: Sequence[StretchSummary],
    spec: Spec,
    end: LifeEnd,
) -> Doubt | None:
    fewest = spec.reduction.clipped_cycles
    if fewest is None or end.up_to.clipped_cycles < fewest:
        return None
    where = [
        _where(
            each,
            FULL_SCALE,
            each.tally.clipped_cycles,
            limit=full_scale_mpa(evidence.rigs.get(each.rig_id), each.station_no),
        )
        for each in lived
        if each.tally.clipped_cycles
    ]
    worst = without_cycles(end, stretches, spec, clipped_cycles)
    return Doubt(name="PEAK_CLIPPED", evidence=where, best=end, worst=worst)


def _not_recorded(
    lived: Sequence[StretchSummary],
    stretches: Sequence[StretchSummary],
    spec: Spec,
    end: LifeEnd,
) -> Doubt | None:
    """Columns that are absent, and cells that say nothing where they are too many."""
    where = [
        HoldEvidence(
            rig_id=each.rig_id,
            run_id=each.run_id,
            station_no=each.station_no,
            cycles=each.condition_absent_cycles,
        )
        for each in lived
        if each.condition_absent_cycles
    ]
    cells = end.up_to.not_recorded_cycles
    share = share_above_limit(cells, end, spec)
    if share is not None:
        figures = HoldEvidence(
            cycles=cells,
            quantity="not_recorded_share",
            measured=share,
            limit=_or_unset(spec.reduction.under_pressure_share_max),
        )
        where += [figures, *_cells(lived)]
    if share is None and not most_before(stretches, end.at_counted, absent_cycles):
        return None
    return Doubt(
        name="CONDITION_NOT_RECORDED",
        evidence=where,
        best=end if share is None else with_unrecorded(end, stretches, spec),
        worst=without_cycles(end, stretches, spec, absent_cycles),
    )


def _unsure(
    lived: Sequence[StretchSummary],
    stretches: Sequence[StretchSummary],
    spec: Spec,
    end: LifeEnd,
) -> Doubt | None:
    """A guarded band without an uncertainty to guard it by."""
    unsure = unsure_cycles(spec)
    where = [
        HoldEvidence(
            rig_id=each.rig_id,
            run_id=each.run_id,
            station_no=each.station_no,
            cycles=unsure(each),
        )
        for each in lived
        if unsure(each)
    ]
    if not where:
        return None
    worst = without_cycles(end, stretches, spec, unsure)
    return Doubt(name="UNCERTAINTY_NOT_RECORDED", evidence=where, best=end, worst=worst)


def _cells(lived: Sequence[StretchSummary]) -> list[HoldEvidence]:
    return [
        _where(each, "CONDITION_NOT_RECORDED", each.tally.not_recorded_cycles)
        for each in lived
        if each.tally.not_recorded_cycles
    ]


def _where(
    stretch: StretchSummary, kind: str, cycles: int, *, limit: float | None = None
) -> HoldEvidence:
    """Cycles of one kind in a stretch; `limit` is what their peaks went beyond."""
    place = stretch.ranges.get(kind)
    peak = place.highest_peak_mpa if place and limit is not None else None
    return HoldEvidence(
        rig_id=stretch.rig_id,
        run_id=stretch.run_id,
        station_no=stretch.station_no,
        from_cycle_in_run=place.first_cycle_in_run if place else UNSET,
        to_cycle_in_run=place.last_cycle_in_run if place else UNSET,
        cycles=cycles,
        quantity=UNSET if peak is None else "pressure_peak_mpa",
        measured=_or_unset(peak),
        limit=_or_unset(limit),
    )


def _or_unset(value: float | None) -> float | UnsetType:
    return UNSET if value is None else value
