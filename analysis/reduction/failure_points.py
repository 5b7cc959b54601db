"""Where in a unit's life a failure stands, and how far back it may have begun."""

from collections.abc import Sequence

from msgspec import Struct

from analysis.reduction.order import cycles_before
from analysis.reduction.tallies import tally_before, together
from schemas.specs import Spec
from schemas.stretches import CycleTally, Streak, StretchSummary

MEAN_OF_CYCLES = 3
"""Counted cycles of which a moving average is taken."""


class FailurePoint(Struct, frozen=True, kw_only=True):
    """
    Where a failure stands in the unit's life.

    `counted_cycles` is the number of the counted cycle that failed, the exact
    life; `logged_cycles` the same among all logged cycles, and `up_to` tells of them.
    `missing_before` counters lack between the counted cycle before the failure and
    the failing cycle: it may have come in any of them. So may its first cycle have been
    one of the `over_before` counted cycles before those. `is_counted` tells whether the
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
    over_before: int = 0
    up_to: CycleTally = CycleTally()


def breaks(before: StretchSummary, stretch: StretchSummary) -> bool:
    """Whether a streak cannot go on from one stretch into the next."""
    known = before.calibration_last is not None and stretch.calibration_first is not None
    recalibrated = known and before.calibration_last != stretch.calibration_first
    return has_moved(before, stretch) or stretch.unlogged_before_first > 0 or recalibrated


def has_moved(before: StretchSummary, stretch: StretchSummary) -> bool:
    """Whether two stretches ran on different stations."""
    return (before.rig_id, before.station_no) != (stretch.rig_id, stretch.station_no)


def starts_at_once(stretch: StretchSummary, leading: Streak) -> bool:
    """No counter is missing between the stretch's first row and its leading streak."""
    rows_before = leading.first_logged - 1
    return leading.first_cycle_in_run - stretch.first_cycle_in_run == rows_before


def lasts_to_the_end(stretch: StretchSummary, trailing: Streak) -> bool:
    """No counter is missing between the trailing streak and the stretch's last row."""
    if stretch.tally.inferred_cycles and trailing.length_cycles > 1:
        # Its rows are further apart where logging was thinned; it ends at the last counted one.
        return stretch.missing_after_counted == 0
    rows_after = stretch.logged_cycles - trailing.first_logged
    return stretch.last_cycle_in_run - trailing.first_cycle_in_run == rows_after


def decay_point(stretches: Sequence[StretchSummary], number: int, streak: Streak) -> FailurePoint:
    """Where the first cycle of a streak in stretch `number` stands in the unit's life."""
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
        + (missing_back(stretches, number) if streak.first_counted == 1 else 0),
        over_before=streak.over_before,
        up_to=together(tally_before(stretches, number), streak.up_to),
    )


def missing_back(stretches: Sequence[StretchSummary], number: int) -> int:
    """Counters that lack between a stretch's beginning and the counted cycle before it."""
    missing = 0
    for stretch in reversed(stretches[:number]):
        if stretch.counted_cycles:
            return missing + stretch.missing_after_counted
        missing += stretch.unlogged_cycles
    return missing


def over_before(point: FailurePoint, stretches: Sequence[StretchSummary], spec: Spec) -> int:
    """
    Counted cycles before missing rows with which the failure may have begun already.

    Parameters
    ----------
    point : FailurePoint
        A failure. Without missing rows right before it there are none.
    stretches : sequence of StretchSummary
        The unit's stretches in order.
    spec : Spec
        For the rule by which decay is judged.

    Returns
    -------
    int
        Those over the limit, back to the last one that is not, over stops but not over a
        move; under a moving average the two that a mean takes in, whatever their decay.
    """
    persistence = spec.failure.persistence
    if not point.missing_before or persistence is None or spec.failure.decay_limit_mpa is None:
        return 0
    earlier = cycles_before(stretches, point.stretch_no)[0]
    in_stretch = point.counted_cycles - point.is_counted - earlier
    if persistence.rule == "MOVING_AVERAGE":
        back = _on_the_same_station(stretches, point.stretch_no)
        return min(MEAN_OF_CYCLES - 1, in_stretch + sum(each.counted_cycles for each in back))
    at_end = stretches[point.stretch_no].over_at_end - point.is_counted
    over = point.over_before if point.seen_as == "DECAY" else max(at_end, 0)
    if over < in_stretch:
        return over
    for stretch in _on_the_same_station(stretches, point.stretch_no):
        over += stretch.over_at_end
        if stretch.over_at_end < stretch.counted_cycles:
            break
    return over


def _on_the_same_station(stretches: Sequence[StretchSummary], number: int) -> list[StretchSummary]:
    """Stretches before number `number` without a move in between, the nearest first."""
    found: list[StretchSummary] = []
    for stretch in reversed(stretches[:number]):
        if has_moved(stretch, stretches[number]):
            break
        found.append(stretch)
    return found
