"""A station whose readings move away from its neighbours': noticed before it is recalibrated."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
from msgspec import UNSET, Struct, UnsetType, structs
from numpy.typing import NDArray

from analysis.checks import FloatArray
from analysis.reduction.stops import supply_of
from schemas.lots import RigSettings
from schemas.station_drifts import DriftingQuantity, StationDrift
from schemas.stretches import StationHour, StretchSummary

BEGINNING_HOURS = 6
"""Hours that two stations share from which their difference at the beginning is taken."""
WINDOW_HOURS = 6
"""A change is the median over so many hours one after another with readings."""
FEWEST_NEIGHBOURS = 2
"""One neighbour cannot tell which of the two stations moved."""
FEWEST_CYCLES = 100
"""An hour with fewer counted cycles says nothing."""

_WATCHED: tuple[DriftingQuantity, ...] = ("pressure_peak_mpa", "pressure_low_mpa")
_HOUR = timedelta(hours=1)
_Station = tuple[str, int]


def station_drifts(
    stretches: Iterable[StretchSummary],
    rigs: Mapping[str, RigSettings],
    limit_mpa: float | None,
) -> list[StationDrift]:
    """
    Stations whose peak or trough moved away from their neighbours by more than a limit.

    Parameters
    ----------
    stretches : iterable of StretchSummary
        Stretches of all units of a lot, with their hours.
    rigs : mapping of str to RigSettings
        For the supply of each station.
    limit_mpa : float or None
        Largest change that passes, MPa, > 0; None: stations are not watched.

    Returns
    -------
    list of StationDrift
        By rig, station and quantity. It is a finding and decides nothing.

    Notes
    -----
    Every pair of stations on one supply has its own beginning: the median difference over
    the first `BEGINNING_HOURS` that both ran. What changed since then is the station's
    with each neighbour; taken is the middle one of them, and of two middle ones the one
    nearer to no change, so that a neighbour's own drift is not laid on a sound station.
    The median over `WINDOW_HOURS` has to pass the limit. What all stations of a supply do
    together, a new set pressure or a common wander, cancels. No published source. Simulated
    with the noise of the demo and a swing of 0.02 MPa of each station alone, 2 % over 100,000
    cycles were found after 45,000 (median) at a limit of 0.25 MPa, always that station only;
    of 200 supplies of six healthy stations none was flagged down to a limit of 0.10 MPa.
    A limit has to be larger than what sound stations swing by.

    What it cannot see: stations that drift together, as on one faulty supply sensor; a
    station that was off from its beginning; a step and a slow change look alike. Above
    all, a station whose loop regulates on the drifting transducer itself reads on target
    while the true pressure moves: there only the trough shows a drift of the zero, and a
    drift of the gain shows, if at all, in pressure decay and rise time, which stand beside
    a finding and are the unit's as well. Other lots on the supply are not asked. So it
    does not replace a calibration.
    """
    if limit_mpa is None:
        return []
    tables = _tables(stretches, rigs)
    found = [
        drift
        for table in tables
        for quantity in _WATCHED
        for drift in _drifts_in(table, quantity, limit_mpa)
    ]
    return sorted(found, key=lambda each: (each.rig_id, each.station_no, each.quantity))


def drifts_met_by(
    stretches: Iterable[StretchSummary], drifts: Iterable[StationDrift]
) -> list[StationDrift]:
    """Those of the drifts during which a unit was on the station, with the unit's own cycles."""
    of_unit = [*stretches]
    met = []
    for drift in drifts:
        cycles = sum(
            hour.counted_cycles
            for each in of_unit
            if (each.rig_id, each.station_no) == (drift.rig_id, drift.station_no)
            for hour in each.hours
            if drift.from_at <= hour.started_at.replace(tzinfo=UTC) < drift.to_at
        )
        if cycles:
            met.append(structs.replace(drift, counted_cycles=cycles))
    return met


def drifts_together(drifts: Iterable[StationDrift]) -> list[StationDrift]:
    """One line for each station and quantity: the cycles of all units added up."""
    found: dict[tuple[str, int, str], StationDrift] = {}
    for each in drifts:
        place = (each.rig_id, each.station_no, each.quantity)
        cycles = found[place].counted_cycles if place in found else 0
        found[place] = structs.replace(each, counted_cycles=each.counted_cycles + cycles)
    return [found[place] for place in sorted(found)]


class _Table(Struct, frozen=True):
    """Hours of the stations of one supply: stations by row, hours by column."""

    stations: list[_Station]
    hours: list[datetime]
    cells: dict[tuple[_Station, datetime], StationHour]

    def of(self, quantity: str) -> FloatArray:
        """One quantity; NaN where a station did not run or too little of the hour counted."""
        table = np.full((len(self.stations), len(self.hours)), np.nan)
        for row, station in enumerate(self.stations):
            for column, hour in enumerate(self.hours):
                cell = self.cells.get((station, hour))
                value = None if cell is None else getattr(cell, quantity)
                if cell is not None and value is not None and cell.counted_cycles >= FEWEST_CYCLES:
                    table[row, column] = value
        return table


def _tables(stretches: Iterable[StretchSummary], rigs: Mapping[str, RigSettings]) -> list[_Table]:
    cells: dict[tuple[str, str], dict[tuple[_Station, datetime], StationHour]]
    cells = defaultdict(dict)
    for each in stretches:
        supply = supply_of(rigs.get(each.rig_id), each.rig_id, each.station_no)
        for hour in each.hours:
            place = ((each.rig_id, each.station_no), hour.started_at)
            known = cells[supply].get(place)
            cells[supply][place] = hour if known is None else _merged(known, hour)
    return [
        _Table(
            stations=sorted({station for station, _ in of_supply}),
            hours=sorted({hour for _, hour in of_supply}),
            cells=of_supply,
        )
        for of_supply in cells.values()
    ]


def _merged(first: StationHour, second: StationHour) -> StationHour:
    """Two stretches of a station in one hour: the means by their counted cycles."""
    cycles = first.counted_cycles + second.counted_cycles
    share = second.counted_cycles / cycles

    def mean(name: str) -> float | None:
        one, other = getattr(first, name), getattr(second, name)
        return None if one is None or other is None else one + share * (other - one)

    return StationHour(
        started_at=first.started_at,
        counted_cycles=cycles,
        pressure_peak_mpa=first.pressure_peak_mpa
        + share * (second.pressure_peak_mpa - first.pressure_peak_mpa),
        pressure_low_mpa=mean("pressure_low_mpa"),
        pressure_decay_mpa=mean("pressure_decay_mpa"),
        rise_time_s=mean("rise_time_s"),
    )


def _drifts_in(
    table: _Table, quantity: DriftingQuantity, limit_mpa: float
) -> Iterator[StationDrift]:
    readings = table.of(quantity)
    for row, station in enumerate(table.stations):
        change = _change(readings, row)
        settled = _settled(change)
        beyond = np.flatnonzero(np.abs(settled) > limit_mpa)
        if beyond.size == 0:
            continue
        largest = beyond[np.argmax(np.abs(settled[beyond]))]
        from_hour, to_hour = table.hours[beyond[0]], table.hours[beyond[-1]]
        yield StationDrift(
            rig_id=station[0],
            station_no=station[1],
            quantity=quantity,
            drift_mpa=float(settled[largest]),
            limit_mpa=limit_mpa,
            began_at=table.hours[np.flatnonzero(np.isfinite(change))[0]].replace(tzinfo=UTC),
            from_at=from_hour.replace(tzinfo=UTC),
            to_at=(to_hour + _HOUR).replace(tzinfo=UTC),
            neighbours=[no for _, no in _others(table, station, readings)],
            counted_cycles=sum(
                cell.counted_cycles
                for (place, hour), cell in table.cells.items()
                if place == station and from_hour <= hour <= to_hour
            ),
            decay_change_mpa=_beside(table, "pressure_decay_mpa", row, beyond),
            rise_time_change_s=_beside(table, "rise_time_s", row, beyond),
        )


def _others(table: _Table, station: _Station, readings: FloatArray) -> Sequence[_Station]:
    """The other stations of the supply that have readings."""
    return [
        other
        for other, values in zip(table.stations, readings, strict=True)
        if other != station and np.isfinite(values).any()
    ]


def _beside(table: _Table, quantity: str, row: int, hours: NDArray[np.intp]) -> float | UnsetType:
    """Median change of another quantity over the same hours, where it is recorded."""
    values = _change(table.of(quantity), row)[hours]
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else UNSET


def _change(readings: FloatArray, row: int) -> FloatArray:
    """How far a station moved from its neighbours by hour; NaN where too few can tell."""
    changes = [
        _against(readings[row] - other) for number, other in enumerate(readings) if number != row
    ]
    if len(changes) < FEWEST_NEIGHBOURS:
        return np.full(readings.shape[1], np.nan)
    return _middle(np.sort(np.array(changes), axis=0))


def _against(difference: FloatArray) -> FloatArray:
    """Change of a difference between two stations since their beginning."""
    common = np.flatnonzero(np.isfinite(difference))
    if common.size <= BEGINNING_HOURS:
        return np.full(difference.shape, np.nan)
    return np.asarray(difference - np.median(difference[common[:BEGINNING_HOURS]]))


def _middle(ordered: FloatArray) -> FloatArray:
    """Middle of each column of sorted values, NaN last; of two the one nearer to 0."""
    known = np.isfinite(ordered).sum(axis=0)
    low = np.take_along_axis(ordered, (np.maximum(known - 1, 0) // 2)[None], axis=0)[0]
    high = np.take_along_axis(ordered, np.minimum(known // 2, len(ordered) - 1)[None], axis=0)[0]
    nearer = np.where(np.abs(low) <= np.abs(high), low, high)
    middle = np.where(low * high < 0, 0.0, nearer)
    return np.where(known >= FEWEST_NEIGHBOURS, middle, np.nan)


def _settled(change: FloatArray) -> FloatArray:
    """Median of the change over the last hours with readings; NaN before there are enough."""
    known = np.flatnonzero(np.isfinite(change))
    settled = np.full(change.shape, np.nan)
    if known.size >= WINDOW_HOURS:
        windows = np.lib.stride_tricks.sliding_window_view(change[known], WINDOW_HOURS)
        settled[known[WINDOW_HOURS - 1 :]] = np.median(windows, axis=1)
    return settled
