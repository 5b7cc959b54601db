"""Low-fluid stops: every unit on the supply may be the one that leaked."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta

from msgspec import Struct

from analysis.reduction.order import cycles_before, place_at
from analysis.reduction.stops import class_of_stretch, stop_class, supply_of
from schemas.lots import NewRigEvent, RigSettings
from schemas.stretches import StretchSummary
from schemas.unit_evidence import LowFluidStop

SAME_STOP = timedelta(seconds=60)
"""Stations of one supply that stop within this time of each other stopped together."""


class SupplyStop(Struct, frozen=True, kw_only=True):
    """A supply that ran low, as the rows of a rig or an event say."""

    supply: tuple[str, str]
    stopped_at: datetime
    rig_id: str


def supply_stops(
    stretches: Iterable[StretchSummary],
    events: Iterable[NewRigEvent],
    rigs: Mapping[str, RigSettings],
) -> list[SupplyStop]:
    """
    Low-fluid stops that the rows of any unit or an event report.

    Parameters
    ----------
    stretches : iterable of StretchSummary
        Stretches of all units that are known.
    events : iterable of NewRigEvent
        Events of the rigs.
    rigs : mapping of str to RigSettings
        Stop-code maps and supplies.

    Returns
    -------
    list of SupplyStop
        By time; stops of one supply within a minute are one.
    """
    found = [
        SupplyStop(
            supply=supply_of(rigs.get(s.rig_id), s.rig_id, s.station_no),
            stopped_at=s.last_started_at.replace(tzinfo=UTC),
            rig_id=s.rig_id,
        )
        for s in stretches
        if class_of_stretch(s, rigs) == "LOW_FLUID"
    ]
    for event in events:
        settings = rigs.get(event.rig_id)
        if event.raw_code and stop_class(event.raw_code, settings) == "LOW_FLUID":
            found += _stops_of_event(event, settings)
    apart: list[SupplyStop] = []
    for stop in sorted(found, key=lambda stop: (stop.supply, stop.stopped_at)):
        last = apart[-1] if apart else None
        if last and last.supply == stop.supply and stop.stopped_at - last.stopped_at <= SAME_STOP:
            continue
        apart.append(stop)
    return sorted(apart, key=lambda stop: stop.stopped_at)


def _stops_of_event(event: NewRigEvent, settings: RigSettings | None) -> list[SupplyStop]:
    """An event without a station concerns every supply of its rig."""
    if event.station_no is not None:
        supplies = {supply_of(settings, event.rig_id, event.station_no)}
    else:
        supplies = {("supply", s.supply_id) for s in (settings.supplies if settings else [])}
        supplies.add(("rig", event.rig_id))
    return [
        SupplyStop(supply=supply, stopped_at=event.occurred_at, rig_id=event.rig_id)
        for supply in sorted(supplies)
    ]


def stops_met_by(
    stretches: Sequence[StretchSummary],
    stops: Iterable[SupplyStop],
    rigs: Mapping[str, RigSettings],
) -> list[LowFluidStop]:
    """
    Low-fluid stops that happened while a unit was on the supply.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches in order.
    stops : iterable of SupplyStop
        Low-fluid stops of all supplies.
    rigs : mapping of str to RigSettings
        For the supply of each station.

    Returns
    -------
    list of LowFluidStop
        With the counted cycles of the unit by then. A stretch that went on
        through the stop counts only what came before the stretch.
    """
    met = []
    for stop in stops:
        place = place_at(stop.stopped_at + SAME_STOP, stretches)
        if place.stretch_no < 0:
            continue
        stretch = stretches[place.stretch_no]
        own_supply = supply_of(rigs.get(stretch.rig_id), stretch.rig_id, stretch.station_no)
        ended_at = stretch.last_started_at.replace(tzinfo=UTC)
        if own_supply != stop.supply or ended_at < stop.stopped_at - SAME_STOP:
            continue
        last_no = place.stretch_no + 1 if place.ends_stretch else place.stretch_no
        met.append(
            LowFluidStop(
                stopped_at=stop.stopped_at,
                counted_cycles=cycles_before(stretches, last_no)[0],
                rig_id=stretch.rig_id,
                run_id=stretch.run_id,
                cycle_in_run=stretch.last_cycle_in_run,
            )
        )
    return met
