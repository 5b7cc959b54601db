"""Failures that the rows show: sustained pressure decay, burst, pressure that cannot be built."""

from collections.abc import Mapping, Sequence

from msgspec import Struct, structs

from analysis.reduction.decay_means import first_mean_over_limit
from analysis.reduction.failure_points import (
    FailurePoint,
    breaks,
    decay_point,
    lasts_to_the_end,
    missing_back,
    over_before,
    starts_at_once,
)
from analysis.reduction.order import cycles_before
from analysis.reduction.tallies import tally_before
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from schemas.unit_evidence import CannotBuildCause


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
    A streak, and a mean of three cycles, goes on over a new run: cycles that do not
    count neither count nor break it, a missing counter or a move to another station
    does. Where counters lack right before a failure, it may have come in any cycle that
    they left out, or begun with the cycles before them: those over the limit, or the
    two that a mean of three takes in.
    """
    points = [
        _first_sustained_decay(stretches, spec),
        _burst(stretches, spec, cannot_build),
        _cannot_build(stretches, cannot_build),
    ]
    return sorted(
        (
            structs.replace(point, over_before=over_before(point, stretches, spec))
            for point in points
            if point is not None
        ),
        key=lambda point: point.counted_cycles,
    )


def _first_sustained_decay(stretches: Sequence[StretchSummary], spec: Spec) -> FailurePoint | None:
    persistence = spec.failure.persistence
    if persistence is None or spec.failure.decay_limit_mpa is None:
        return None
    if persistence.rule == "MOVING_AVERAGE":
        return first_mean_over_limit(stretches, spec.failure.decay_limit_mpa)
    return _sustained_decay(stretches, persistence.cycles)


class _Open(Struct, frozen=True, kw_only=True):
    """A streak that lasts to the end of the stretches read so far."""

    point: FailurePoint
    length_cycles: int


def _sustained_decay(
    stretches: Sequence[StretchSummary], persistent_cycles: int
) -> FailurePoint | None:
    open_streak: _Open | None = None
    for number, stretch in enumerate(stretches):
        if number and breaks(stretches[number - 1], stretch):
            open_streak = None
        joined = _joined(open_streak, stretch)
        if joined is not None and joined.length_cycles >= persistent_cycles:
            return joined.point
        if stretch.persistent is not None:
            return decay_point(stretches, number, stretch.persistent)
        if stretch.counted_cycles:
            open_streak = _still_open(stretches, number, joined)
        elif stretch.unlogged_cycles:
            open_streak = None
    return None


def _joined(open_streak: _Open | None, stretch: StretchSummary) -> _Open | None:
    leading = stretch.leading
    if open_streak is None or leading is None or not starts_at_once(stretch, leading):
        return None
    return _Open(
        point=open_streak.point, length_cycles=open_streak.length_cycles + leading.length_cycles
    )


def _still_open(
    stretches: Sequence[StretchSummary], number: int, joined: _Open | None
) -> _Open | None:
    stretch = stretches[number]
    trailing = stretch.trailing
    if trailing is None or not lasts_to_the_end(stretch, trailing):
        return None
    counted_rows = stretch.counted_cycles - stretch.tally.inferred_cycles
    if joined is not None and trailing.length_cycles == counted_rows:
        return joined
    return _Open(
        point=decay_point(stretches, number, trailing), length_cycles=trailing.length_cycles
    )


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
        + (missing_back(stretches, number) if is_first else 0),
        is_counted=stretch.last_cycle_counted,
        up_to=tally_before(stretches, number + 1),
    )
