"""Where in the rows of a lot's units a leak began, for those whose failure that is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime

from msgspec import structs

from analysis.reduction.doubts import as_it_stands
from analysis.reduction.onset_ends import FAILED_BY_ONSET, OnsetPlace, established_at, onset_fails
from analysis.reduction.order import cycles_before
from analysis.reduction.tallies import PartCounts, counts_of, tally_before, together
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from schemas.unit_evidence import LocatedOnset, UnitEvidence
from service.storage.lot_facts import LotFacts
from service.storage.store import Cursor
from service.workflows.sensing import Sensing, sensing_of
from service.workflows.stretch_summaries import stage_one_for

_ANY_START = datetime(9999, 1, 1)


def with_located_onsets(
    db: Cursor, facts: LotFacts, spec: Spec, evidence: Sequence[UnitEvidence]
) -> list[UnitEvidence]:
    """
    The evidence with the place of each onset that is a failure, and the cycles up to it.

    Parameters
    ----------
    db : Cursor
    facts : LotFacts
    spec : Spec
        Nothing is asked where it calls no onset a failure.
    evidence : sequence of UnitEvidence
        With the blocks of the units.

    Returns
    -------
    list of UnitEvidence
    """
    if onset_fails(spec) is None:
        return [*evidence]
    places = {each.unit_id: place for each in evidence if (place := _place(each, spec)) is not None}
    counts = _count(db, facts, spec, places)
    return [
        structs.replace(each, located_onset=_located(each, places[each.unit_id], counts))
        if each.unit_id in counts
        else each
        for each in evidence
    ]


def _place(evidence: UnitEvidence, spec: Spec) -> OnsetPlace | None:
    end = as_it_stands(evidence, spec)
    if FAILED_BY_ONSET not in end.marks:
        return None
    return established_at(evidence.stretches, end.at_counted)


def _count(
    db: Cursor, facts: LotFacts, spec: Spec, places: dict[str, OnsetPlace]
) -> dict[str, PartCounts]:
    """Cycles of its stretch up to each place: one question for stretches judged alike."""
    groups: dict[Sensing, list[tuple[str, OnsetPlace]]] = defaultdict(list)
    for unit_id, place in places.items():
        at = place.stretch
        sensing = sensing_of(facts, at.stretch_key, at.rig_id, at.station_no)
        groups[sensing].append((unit_id, place))
    counts: dict[str, PartCounts] = {}
    for sensing, group in groups.items():
        points = [
            (number, at.stretch.stretch_key, at.stretch.lap, at.cycle_in_run, _ANY_START)
            for number, (_, at) in enumerate(group)
        ]
        corrections = [
            each
            for _, at in group
            for each in facts.sensor_corrections.get(at.stretch.stretch_key, [])
        ]
        found = stage_one_for(db, spec, sensing, corrections).counted_at(points)
        counts |= {group[number][0]: counts_of(rows) for number, rows in found.items()}
    return counts


def _located(
    evidence: UnitEvidence, place: OnsetPlace, counts: dict[str, PartCounts]
) -> LocatedOnset:
    number = _number_of(place.stretch, evidence.stretches)
    inside = counts[evidence.unit_id]
    return LocatedOnset(
        counted_cycles=place.counted_cycles,
        logged_cycles=cycles_before(evidence.stretches, number)[1] + inside.logged_cycles,
        up_to=together(tally_before(evidence.stretches, number), inside.tally),
    )


def _number_of(stretch: StretchSummary, stretches: Sequence[StretchSummary]) -> int:
    at = (stretch.stretch_key, stretch.lap)
    return [(each.stretch_key, each.lap) for each in stretches].index(at)
