"""A moving average of pressure decay that reaches over stops."""

from collections.abc import Sequence

from analysis.reduction.failure_points import (
    MEAN_OF_CYCLES,
    FailurePoint,
    breaks,
    decay_point,
    lasts_to_the_end,
    starts_at_once,
)
from schemas.stretches import EdgeCycle, StretchSummary

_Place = tuple[int, EdgeCycle]


def first_mean_over_limit(
    stretches: Sequence[StretchSummary], limit_mpa: float
) -> FailurePoint | None:
    """
    First three counted cycles, one after another, whose mean pressure decay is over a limit.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches in order, each with its first and last two counted cycles.
    limit_mpa : float
        Limit of the decay, in MPa.

    Returns
    -------
    FailurePoint or None
        The first of the three. A new run does not break them; a missing counter, a move,
        and a cycle without a decay do.
    """
    waiting: list[_Place] = []
    for number, stretch in enumerate(stretches):
        if number and breaks(stretches[number - 1], stretch):
            waiting = []
        for cycle in stretch.edge_cycles_judged[: MEAN_OF_CYCLES - 1]:
            if not starts_at_once(stretch, cycle.place):
                waiting = []
                break
            waiting = [*waiting, (number, cycle)][-MEAN_OF_CYCLES:]
            if _mean_is_over(waiting, limit_mpa):
                return decay_point(stretches, waiting[0][0], waiting[0][1].place)
        if stretch.persistent is not None:
            return decay_point(stretches, number, stretch.persistent)
        waiting = _left_waiting(waiting, number, stretch)
    return None


def _mean_is_over(places: Sequence[_Place], limit_mpa: float) -> bool:
    decays = [cycle.pressure_decay_mpa for _, cycle in places]
    known = [each for each in decays if each is not None]
    return len(known) == MEAN_OF_CYCLES and sum(known) / MEAN_OF_CYCLES > limit_mpa


def _left_waiting(waiting: list[_Place], number: int, stretch: StretchSummary) -> list[_Place]:
    """The last two cycles that a next run can go on from, none of them before a gap."""
    edges = stretch.edge_cycles_judged
    if not edges:
        return [] if stretch.unlogged_cycles else waiting
    if len(edges) == 1 and waiting and lasts_to_the_end(stretch, edges[0].place):
        # A run with one counted cycle leaves the one before it in play.
        return waiting[1 - MEAN_OF_CYCLES :]
    last = edges[1 - MEAN_OF_CYCLES :]
    return [(number, cycle) for cycle in last if lasts_to_the_end(stretch, cycle.place)]
