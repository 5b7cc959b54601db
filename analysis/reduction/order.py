"""The order of a unit's stretches, and where in it something else happened."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime

from msgspec import Struct

from schemas.lots import NewInspection
from schemas.stretches import StretchSummary


class Place(Struct, frozen=True, kw_only=True):
    """
    A place in a unit's rows.

    `stretch_no` is the position of the stretch in the unit's order, -1 before
    the first. `ends_stretch` is true when the whole stretch lies before the
    place; otherwise its rows up to `last_cycle_in_run` and `last_started_at` do.
    """

    stretch_no: int
    ends_stretch: bool
    last_cycle_in_run: int | None = None
    last_started_at: datetime | None = None


def in_order(stretches: Iterable[StretchSummary]) -> list[StretchSummary]:
    """
    A unit's stretches in the order in which they were run.

    Parameters
    ----------
    stretches : iterable of StretchSummary
        In any order.

    Returns
    -------
    list of StretchSummary
        On one station by odometer where every stretch has one, else by start
        time; between stations by start time. Laps of a run stay in order.
    """
    by_station: dict[tuple[str, int], list[StretchSummary]] = defaultdict(list)
    for stretch in stretches:
        by_station[stretch.rig_id, stretch.station_no].append(stretch)
    queues = [_station_order(group) for _, group in sorted(by_station.items())]
    ordered = []
    while queues:
        queue = min(queues, key=lambda waiting: waiting[0].first_started_at)
        ordered.append(queue.pop(0))
        queues = [waiting for waiting in queues if waiting]
    return ordered


def _station_order(stretches: list[StretchSummary]) -> list[StretchSummary]:
    if all(stretch.odometer_first is not None for stretch in stretches):
        return sorted(stretches, key=lambda s: (s.odometer_first or 0, s.run_id, s.lap))
    run_starts: dict[str, datetime] = {}
    for stretch in stretches:
        start = run_starts.get(stretch.run_id, stretch.first_started_at)
        run_starts[stretch.run_id] = min(start, stretch.first_started_at)
    return sorted(stretches, key=lambda s: (run_starts[s.run_id], s.run_id, s.lap))


def overlapping_runs(stretches: Sequence[StretchSummary]) -> dict[int, list[int]]:
    """
    Runs of a unit on one station whose order nothing tells.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches.

    Returns
    -------
    dict of int to list of int
        By stretch key, the keys of those that overlap it in time: a clock jumped.
        Empty where every stretch of the station has an odometer, which orders them.
    """
    by_station: dict[tuple[str, int], dict[int, list[StretchSummary]]] = {}
    for each in stretches:
        runs = by_station.setdefault((each.rig_id, each.station_no), {})
        runs.setdefault(each.stretch_key, []).append(each)
    overlaps: dict[int, list[int]] = {}
    for runs in by_station.values():
        if all(lap.odometer_first is not None for laps in runs.values() for lap in laps):
            continue
        spans = {key: _span(laps) for key, laps in runs.items()}
        for key, (first, last) in spans.items():
            rivals = [n for n, span in spans.items() if first < span[1] and span[0] < last]
            if rivals := [rival for rival in rivals if rival != key]:
                overlaps[key] = rivals
    return overlaps


def other_orders(stretches: Sequence[StretchSummary]) -> list[list[StretchSummary]]:
    """
    Orders that are as possible as the given one: each overlapping run first or last of its rivals.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches in order.

    Returns
    -------
    list of list of StretchSummary
        Without the given order; empty where the order is certain.
    """
    orders: list[list[StretchSummary]] = []
    for key, rivals in overlapping_runs(stretches).items():
        moved = [each for each in stretches if each.stretch_key == key]
        rest = [each for each in stretches if each.stretch_key != key]
        places = [n for n, each in enumerate(rest) if each.stretch_key in rivals]
        for place in (places[0], places[-1] + 1):
            order = [*rest[:place], *moved, *rest[place:]]
            if order != [*stretches] and order not in orders:
                orders.append(order)
    return orders


def _span(laps: Sequence[StretchSummary]) -> tuple[datetime, datetime]:
    return (
        min(lap.first_started_at for lap in laps),
        max(lap.last_started_at for lap in laps),
    )


def place_of(inspection: NewInspection, stretches: Sequence[StretchSummary]) -> Place:
    """
    Where in the unit's rows an inspection was made.

    Parameters
    ----------
    inspection : NewInspection
        Located by rig, run and counter where it says so, else by its time.
    stretches : sequence of StretchSummary
        The unit's stretches in order.

    Returns
    -------
    Place
        By counter: in the last lap of the run that had begun by then. By time:
        after every row that had started by then.
    """
    after = inspection.after
    if after is None:
        return place_at(inspection.inspected_at, stretches)
    laps = [
        (number, stretch)
        for number, stretch in enumerate(stretches)
        if (stretch.rig_id, stretch.run_id) == (after.rig_id, after.run_id)
    ]
    if not laps:
        return place_at(inspection.inspected_at, stretches)
    inspected_at = _naive(inspection.inspected_at)
    begun = [
        (number, stretch)
        for number, stretch in laps
        if stretch.first_started_at <= inspected_at
        and stretch.first_cycle_in_run <= after.cycle_in_run
    ]
    number, stretch = (begun or laps[:1])[-1]
    return Place(
        stretch_no=number,
        ends_stretch=after.cycle_in_run >= stretch.last_cycle_in_run,
        last_cycle_in_run=after.cycle_in_run,
    )


def place_at(instant: datetime, stretches: Sequence[StretchSummary]) -> Place:
    """Place after every row that had started by `instant` (an aware time)."""
    moment = _naive(instant)
    begun = [n for n, stretch in enumerate(stretches) if stretch.first_started_at <= moment]
    if not begun:
        return Place(stretch_no=-1, ends_stretch=True)
    number = begun[-1]
    return Place(
        stretch_no=number,
        ends_stretch=stretches[number].last_started_at <= moment,
        last_started_at=moment,
    )


def cycles_before(stretches: Sequence[StretchSummary], stretch_no: int) -> tuple[int, int]:
    """Counted and logged cycles of the stretches before number `stretch_no`."""
    earlier = stretches[: max(stretch_no, 0)]
    return (
        sum(stretch.counted_cycles for stretch in earlier),
        sum(stretch.logged_cycles for stretch in earlier),
    )


def up_to_logged(stretches: Sequence[StretchSummary], logged_cycles: int) -> list[StretchSummary]:
    """The stretches that hold one of the first `logged_cycles` cycles of the unit."""
    return [
        each
        for number, each in enumerate(stretches)
        if cycles_before(stretches, number)[1] < logged_cycles
    ]


def _naive(instant: datetime) -> datetime:
    """The instant as UTC without a zone, as rows are stored."""
    offset = instant.utcoffset()
    return instant if offset is None else (instant - offset).replace(tzinfo=None)
