"""Failures that the rows show: sustained pressure decay, burst, pressure that cannot be built."""

from collections.abc import Mapping, Sequence

from msgspec import Struct

from analysis.reduction.order import cycles_before
from analysis.reduction.tallies import tally_before, together
from schemas.specs import Spec
from schemas.stretches import CycleTally, Streak, StretchSummary
from schemas.unit_evidence import CannotBuildCause


class FailurePoint(Struct, frozen=True, kw_only=True):
    """
    Where a failure stands in the unit's life.

    `counted_cycles` is the number of the counted cycle that failed, the exact
    life; `logged_cycles` the same among all logged cycles, and `up_to` tells of them.
    `missing_before` counters lack between the counted cycle before the failure and
    the failing cycle: it may have come in any of them. `is_counted` tells whether the
    failing cycle counts itself.
    """

    seen_as: str
    counted_cycles: int
    logged_cycles: int
    stretch_no: int
    rig_id: str
    run_id: str
    cycle_in_run: int
    missing_before: int = 0
    is_counted: bool = True
    up_to: CycleTally = CycleTally()


def first_failure_in_rows(
    stretches: Sequence[StretchSummary],
    spec: Spec,
    cannot_build: Mapping[int, CannotBuildCause],
) -> list[FailurePoint]:
    """
    The first failure of each kind that the rows show.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches in order.
    spec : Spec
        For the persistence of decay and the modes that exist.
    cannot_build : mapping of int to str
        Cause of each stretch, by key, that ended unable to build pressure.

    Returns
    -------
    list of FailurePoint
        At most one each for sustained decay, burst and pressure that cannot be
        built, earliest first; at one place a burst goes before the last.

    Notes
    -----
    A streak goes on over a new run: cycles that do not count neither count nor
    break it, a missing counter or a move to another station does. Where counters
    lack right before a failure, it may have come in any cycle that they left out.
    """
    points = [
        _sustained_decay(stretches, spec),
        _burst(stretches, spec, cannot_build),
        _cannot_build(stretches, cannot_build),
    ]
    return sorted(
        (point for point in points if point is not None), key=lambda point: point.counted_cycles
    )


class _Open(Struct, frozen=True, kw_only=True):
    """A streak that lasts to the end of the stretches read so far."""

    point: FailurePoint
    length_cycles: int


def _sustained_decay(stretches: Sequence[StretchSummary], spec: Spec) -> FailurePoint | None:
    persistence = spec.failure.persistence
    if persistence is None or spec.failure.decay_limit_mpa is None:
        return None
    open_streak: _Open | None = None
    for number, stretch in enumerate(stretches):
        if number and _breaks(stretches[number - 1], stretch):
            open_streak = None
        joined = _joined(open_streak, stretch)
        if joined is not None and joined.length_cycles >= persistence.cycles:
            return joined.point
        if stretch.persistent is not None:
            return _point(stretches, number, stretch.persistent)
        if stretch.counted_cycles:
            open_streak = _still_open(stretches, number, joined)
        elif stretch.unlogged_cycles:
            open_streak = None
    return None


def _breaks(before: StretchSummary, stretch: StretchSummary) -> bool:
    """Whether a streak cannot go on from one stretch into the next."""
    moved = (before.rig_id, before.station_no) != (stretch.rig_id, stretch.station_no)
    return moved or stretch.unlogged_before_first > 0


def _joined(open_streak: _Open | None, stretch: StretchSummary) -> _Open | None:
    leading = stretch.leading
    if open_streak is None or leading is None or not _starts_at_once(stretch, leading):
        return None
    return _Open(
        point=open_streak.point, length_cycles=open_streak.length_cycles + leading.length_cycles
    )


def _starts_at_once(stretch: StretchSummary, leading: Streak) -> bool:
    """No counter is missing between the stretch's first row and its leading streak."""
    rows_before = leading.first_logged - 1
    return leading.first_cycle_in_run - stretch.first_cycle_in_run == rows_before


def _lasts_to_the_end(stretch: StretchSummary, trailing: Streak) -> bool:
    """No counter is missing between the trailing streak and the stretch's last row."""
    rows_after = stretch.logged_cycles - trailing.first_logged
    return stretch.last_cycle_in_run - trailing.first_cycle_in_run == rows_after


def _still_open(
    stretches: Sequence[StretchSummary], number: int, joined: _Open | None
) -> _Open | None:
    stretch = stretches[number]
    trailing = stretch.trailing
    if trailing is None or not _lasts_to_the_end(stretch, trailing):
        return None
    if joined is not None and trailing.length_cycles == stretch.counted_cycles:
        return joined
    return _Open(point=_point(stretches, number, trailing), length_cycles=trailing.length_cycles)


def _point(stretches: Sequence[StretchSummary], number: int, streak: Streak) -> FailurePoint:
    counted, logged = cycles_before(stretches, number)
    return FailurePoint(
        seen_as="DECAY",
        counted_cycles=counted + streak.first_counted,
        logged_cycles=logged + streak.first_logged,
        stretch_no=number,
        rig_id=stretches[number].rig_id,
        run_id=stretches[number].run_id,
        cycle_in_run=streak.first_cycle_in_run,
        missing_before=streak.missing_before
        + (_missing_back(stretches, number) if streak.first_counted == 1 else 0),
        up_to=together(tally_before(stretches, number), streak.up_to),
    )


def _missing_back(stretches: Sequence[StretchSummary], number: int) -> int:
    """Counters that lack between a stretch's beginning and the counted cycle before it."""
    missing = 0
    for stretch in reversed(stretches[:number]):
        if stretch.counted_cycles:
            return missing + stretch.missing_after_counted
        missing += stretch.unlogged_cycles
    return missing


def _burst(
    stretches: Sequence[StretchSummary],
    spec: Spec,
    cannot_build: Mapping[int, CannotBuildCause],
) -> FailurePoint | None:
    """First stretch that ends in a burst; no burst where the whole supply gave way."""
    if spec.failure.burst_below_mpa is None:
        return None
    for number, stretch in enumerate(stretches):
        if stretch.ends_in_burst and cannot_build.get(stretch.stretch_key) != "RIG":
            return _at_end_of(stretches, number, "BURST")
    return None


def _cannot_build(
    stretches: Sequence[StretchSummary], cannot_build: Mapping[int, CannotBuildCause]
) -> FailurePoint | None:
    for number, stretch in enumerate(stretches):
        if stretch.is_last_lap and cannot_build.get(stretch.stretch_key) == "UNIT":
            return _at_end_of(stretches, number, "CANNOT_BUILD")
    return None


def _at_end_of(stretches: Sequence[StretchSummary], number: int, seen_as: str) -> FailurePoint:
    """Failure in the last cycle of a stretch: counted or not, the life is what was counted."""
    stretch = stretches[number]
    counted, logged = cycles_before(stretches, number + 1)
    is_first = stretch.counted_cycles <= stretch.last_cycle_counted
    return FailurePoint(
        seen_as=seen_as,
        counted_cycles=counted,
        logged_cycles=logged,
        stretch_no=number,
        rig_id=stretch.rig_id,
        run_id=stretch.run_id,
        cycle_in_run=stretch.last_cycle_in_run,
        missing_before=stretch.missing_before_end
        + (_missing_back(stretches, number) if is_first else 0),
        is_counted=stretch.last_cycle_counted,
        up_to=tally_before(stretches, number + 1),
    )
