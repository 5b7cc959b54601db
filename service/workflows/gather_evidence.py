"""Puts together what stage two needs to know about each unit of a lot."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from msgspec import Struct

from analysis.reduction.cannot_build import cannot_build_causes
from analysis.reduction.inspected import cycles_since_start, missing_before
from analysis.reduction.low_fluid import SupplyStop, stops_met_by, supply_stops
from analysis.reduction.order import Place, cycles_before, in_order, place_at, place_of
from analysis.reduction.station_drift import drifts_met_by, station_drifts
from analysis.reduction.tallies import PartCounts, counts_of, tally_before, together
from schemas.holds import HoldEvidence
from schemas.lots import NewRigEvent
from schemas.specs import Spec
from schemas.station_drifts import StationDrift
from schemas.stretches import StretchSummary
from schemas.unit_evidence import (
    CannotBuildCause,
    DeclaredLife,
    FailureAnalysis,
    IdentityConflict,
    LocatedEvent,
    LocatedInspection,
    UnitEvidence,
)
from service.storage.lot_facts import LotFacts, UnitRecord
from service.storage.rig_clocks import rig_clocks
from service.storage.stage_one_results import Point
from service.storage.store import Cursor
from service.workflows.failure_analyses import analyses_of, clean_places
from service.workflows.sensing import Sensing, sensing_of
from service.workflows.shared_stations import find_identity_conflicts
from service.workflows.stretch_summaries import StretchReadings, stage_one_for

_NO_LIMIT = 2**62
_FAR_FUTURE = datetime(9999, 1, 1)


def gather_evidence(
    db: Cursor, facts: LotFacts, spec: Spec, readings: Mapping[int, StretchReadings]
) -> list[UnitEvidence]:
    """
    Evidence about each unit of a lot, by serial.

    Parameters
    ----------
    db : Cursor
    facts : LotFacts
    spec : Spec
    readings : mapping of int to StretchReadings
        Summaries of the lot's stretches.

    Returns
    -------
    list of UnitEvidence
        A lot without a list has every serial seen as its sample.
    """
    stretches = _by_unit(facts, readings)
    everything = [each for of_unit in stretches.values() for each in of_unit]
    known = _Known(
        low_fluid=supply_stops(everything, [event for _, event in facts.events], facts.rigs),
        cannot_build=cannot_build_causes(
            everything, _still_open(facts, stretches), facts.rigs, spec.reduction.cannot_build
        ),
        identity=find_identity_conflicts(db, facts, spec, everything),
        drifts=station_drifts(everything, facts.rigs, spec.reduction.station_drift_mpa),
    )
    counter = _PlaceCounter(db, facts, spec)
    gathered = [
        _UnitGatherer(facts, unit, stretches[unit.unit_key], readings) for unit in facts.units
    ]
    for each in gathered:
        each.find_places(counter)
    counter.count()
    return [each.evidence(counter, known, spec) for each in gathered]


class _Known(Struct, frozen=True, kw_only=True):
    """What the stretches of the lot tell of its units together. Other lots are not asked."""

    low_fluid: list[SupplyStop]
    cannot_build: dict[int, CannotBuildCause]
    identity: dict[int, list[IdentityConflict]]
    drifts: list[StationDrift]


class _PlaceCounter:
    """Counts cycles up to places inside stretches: all of them in one question."""

    def __init__(self, db: Cursor, facts: LotFacts, spec: Spec) -> None:
        self._db = db
        self._facts = facts
        self._spec = spec
        self._points: list[tuple[StretchSummary, Place]] = []
        self._counts: dict[int, PartCounts] = {}

    def add(self, stretch: StretchSummary, place: Place) -> int:
        """Ask for the cycles of a stretch up to a place; the number fetches them later."""
        self._points.append((stretch, place))
        return len(self._points) - 1

    def count(self) -> None:
        """Answer every question that was added."""
        corrections = self._facts.sensor_corrections
        groups: dict[Sensing, list[Point]] = defaultdict(list)
        for number, (stretch, place) in enumerate(self._points):
            counter, start = place.last_cycle_in_run, place.last_started_at
            key, rig_id = stretch.stretch_key, stretch.rig_id
            groups[sensing_of(self._facts, key, rig_id, stretch.station_no)].append(
                (
                    number,
                    key,
                    stretch.lap,
                    _NO_LIMIT if counter is None else counter,
                    _FAR_FUTURE if start is None else start,
                )
            )
        for sensing, points in groups.items():
            keys = sorted({point[1] for point in points})
            concerned = [each for key in keys for each in corrections.get(key, [])]
            stage_one = stage_one_for(self._db, self._spec, sensing, concerned)
            found = stage_one.counted_at(points)
            self._counts |= {number: counts_of(rows) for number, rows in found.items()}

    def cycles(self, number: int) -> PartCounts:
        """Cycles of question `number`."""
        return self._counts.get(number, PartCounts())


class _UnitGatherer:
    """Evidence of one unit; places inside stretches are counted in between."""

    def __init__(
        self,
        facts: LotFacts,
        unit: UnitRecord,
        stretches: list[StretchSummary],
        readings: Mapping[int, StretchReadings],
    ) -> None:
        self._facts = facts
        self._unit = unit
        self._stretches = stretches
        self._readings = readings
        self._inspections = [i for key, i in facts.inspections if key == unit.unit_key]
        self._events = [e for key, e in facts.events if self._concerns(key, e)]
        self._records = [r for r in facts.failure_records if r.unit_key == unit.unit_key]
        self._clean_places = clean_places(self._records, stretches)
        self._places: list[tuple[Place, int | None]] = []

    def find_places(self, counter: _PlaceCounter) -> None:
        """Find where inspections, events and records stand, and ask for counts inside stretches."""
        places = [place_of(each, self._stretches) for each in self._inspections]
        places += [place_at(each.occurred_at, self._stretches) for each in self._events]
        places += self._clean_places.values()
        for place in places:
            inside = (
                None
                if place.ends_stretch
                else counter.add(self._stretches[place.stretch_no], place)
            )
            self._places.append((place, inside))

    def evidence(self, counter: _PlaceCounter, known: _Known, spec: Spec) -> UnitEvidence:
        """The evidence, once `counter` has counted."""
        counts = [self._cycles(place, inside, counter) for place, inside in self._places]
        first_event = len(self._inspections)
        first_clean = first_event + len(self._events)
        inspected, happened = counts[:first_event], counts[first_event:first_clean]
        unit = self._unit
        return UnitEvidence(
            unit_id=unit.unit_id,
            lot_number=self._facts.lot_number,
            unit_serial=unit.unit_serial,
            listed=unit.listed or not any(each.listed for each in self._facts.units),
            stretches=self._stretches,
            kindest=self._variant("kindest"),
            by_clock=self._variant("by_clock"),
            harshest=self._variant("harshest"),
            inspections=self._located_inspections(inspected, counter),
            events=self._located_events(happened),
            low_fluid_stops=stops_met_by(self._stretches, known.low_fluid, self._facts.rigs),
            declared=self._declared(),
            rigs=self._facts.rigs,
            is_newest_on_station=self._is_newest_on_station(),
            is_overdue=self._is_overdue(spec),
            cannot_build={
                each.stretch_key: known.cannot_build[each.stretch_key]
                for each in self._stretches
                if each.stretch_key in known.cannot_build
            },
            component_batch=unit.component_batch or self._declared_batch(),
            conflicts=self._conflicts(),
            identity_conflicts=known.identity.get(unit.unit_key, []),
            station_drifts=drifts_met_by(self._stretches, known.drifts),
            analyses=self._analyses(counts[first_clean:]),
        )

    def _located_inspections(
        self, counts: Sequence[PartCounts], counter: _PlaceCounter
    ) -> list[LocatedInspection]:
        located = []
        for number, (each, before) in enumerate(zip(self._inspections, counts, strict=True)):
            place, asked = self._places[number]
            inside = PartCounts() if asked is None else counter.cycles(asked)
            located.append(
                LocatedInspection(
                    inspection=each,
                    counted_cycles=before.counted_cycles,
                    logged_cycles=before.logged_cycles,
                    up_to=before.tally,
                    unlogged_cycles=missing_before(self._stretches, place, inside),
                    since_start_cycles=cycles_since_start(self._stretches, place, inside),
                )
            )
        return located

    def _located_events(self, counts: Sequence[PartCounts]) -> list[LocatedEvent]:
        return [
            LocatedEvent(
                event=each,
                counted_cycles=before.counted_cycles,
                logged_cycles=before.logged_cycles,
                up_to=before.tally,
            )
            for each, before in zip(self._events, counts, strict=True)
        ]

    def _analyses(self, counts: Sequence[PartCounts]) -> list[FailureAnalysis]:
        cycles = (each.counted_cycles for each in counts)
        return analyses_of(self._records, dict(zip(self._clean_places, cycles, strict=True)))

    def _concerns(self, unit_key: int | None, event: NewRigEvent) -> bool:
        """An event names the unit, or the station that the unit was on."""
        if unit_key is not None or event.kind not in ("REMOVED", "REWORK"):
            return unit_key == self._unit.unit_key
        place = place_at(event.occurred_at, self._stretches)
        if place.stretch_no < 0 or event.station_no is None:
            return False
        stretch = self._stretches[place.stretch_no]
        return (stretch.rig_id, stretch.station_no) == (event.rig_id, event.station_no)

    def _cycles(self, place: Place, inside: int | None, counter: _PlaceCounter) -> PartCounts:
        whole = place.stretch_no + 1 if place.ends_stretch else place.stretch_no
        counted, logged = cycles_before(self._stretches, whole)
        more = PartCounts() if inside is None else counter.cycles(inside)
        return PartCounts(
            counted_cycles=counted + more.counted_cycles,
            logged_cycles=logged + more.logged_cycles,
            tally=together(tally_before(self._stretches, whole), more.tally),
        )

    def _variant(self, name: str) -> list[StretchSummary]:
        """The unit's stretches with conflicting rows read one way; empty if none conflict."""
        keys = {stretch.stretch_key for stretch in self._stretches}
        if not any(getattr(self._readings[key], name) for key in keys):
            return []
        chosen = [
            lap
            for key in sorted(keys)
            for lap in getattr(self._readings[key], name) or self._readings[key].as_stored
        ]
        return in_order(chosen)

    def _conflicts(self) -> list[HoldEvidence]:
        """Runs in which rows of one cycle arrived with different values, and how many."""
        return [
            HoldEvidence(
                rig_id=each.rig_id,
                run_id=each.run_id,
                station_no=each.station_no,
                cycles=each.conflicting_rows,
            )
            for each in self._facts.stretches
            if each.unit_key == self._unit.unit_key and each.conflicting_rows
        ]

    def _declared(self) -> list[DeclaredLife]:
        return [
            DeclaredLife(
                ending=each.ending,
                cycles=each.cycles,
                cycles_low=each.cycles_low,
                cycles_high=each.cycles_high,
                failure_mode=each.failure_mode,
            )
            for each in self._facts.declared
            if each.unit_key == self._unit.unit_key
        ]

    def _declared_batch(self) -> str | None:
        batches = [
            each.component_batch
            for each in self._facts.declared
            if each.unit_key == self._unit.unit_key and each.component_batch
        ]
        return batches[0] if batches else None

    def _is_newest_on_station(self) -> bool:
        newest = {each.stretch_key for each in self._facts.stations}
        return bool(self._stretches) and self._stretches[-1].stretch_key in newest

    def _is_overdue(self, spec: Spec) -> bool:
        if not self._stretches:
            return False
        last = self._stretches[-1]
        clock = rig_clocks(self._facts.stations)[last.rig_id]
        seen = max(
            each.last_started_at
            for each in self._facts.stretches
            if each.stretch_key == last.stretch_key
        )
        return clock - seen > timedelta(hours=spec.plan.overdue_hours)


def _still_open(facts: LotFacts, stretches: Mapping[int, Sequence[StretchSummary]]) -> set[int]:
    """Last stretches of units without a stop reason, after which their station ran nothing."""
    newest = {each.stretch_key for each in facts.stations}
    last_ones = [of_unit[-1] for of_unit in stretches.values() if of_unit]
    return {
        last.stretch_key
        for last in last_ones
        if last.stop_reason is None and last.stretch_key in newest
    }


def _by_unit(
    facts: LotFacts, readings: Mapping[int, StretchReadings]
) -> dict[int, list[StretchSummary]]:
    grouped: dict[int, list[StretchSummary]] = defaultdict(list)
    for stretch in facts.stretches:
        grouped[stretch.unit_key] += readings[stretch.stretch_key].as_stored
    return {unit.unit_key: in_order(grouped[unit.unit_key]) for unit in facts.units}
