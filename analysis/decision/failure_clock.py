"""How much a lot had run when each of its failures came: the path of a sequential test."""

from collections.abc import Callable, Sequence
from datetime import datetime

from analysis.decision.counting import LotState, may_have_failed_by, plan_credit
from analysis.decision.terms import Terms
from analysis.decision.weibayes_plan import worst_target_lives
from schemas.lives import Outcome, StretchLine


def target_lives_at_failures(state: LotState, terms: Terms) -> list[float]:
    """
    Target lives that the lot had been credited when each failure came.

    Parameters
    ----------
    state : LotState
        The outcomes of the lot's units, with their lives.
    terms : Terms
        The requirement and its plan, which adds up target lives.

    Returns
    -------
    list of float
        One per relevant failure within the plan's credit, in the order in which they
        came, each at the worst shape of the range.

    Notes
    -----
    Within a stretch cycles are taken to come evenly. A bracket is dated at its low end,
    so that the sum is not overstated. Where a life was declared and has no rows, no
    clock is known: then all units are taken to have run side by side, at one pace.
    """
    failed = [
        number
        for number, outcome in enumerate(state.outcomes)
        if may_have_failed_by(outcome, terms.last_credited_cycles)
    ]
    reached = _by_clock(state) or _side_by_side(state)
    sums = []
    for number in failed:
        counts = reached(number)
        credits = [
            _credit(outcome, min(count, outcome.credited_cycles), terms)
            for outcome, count in zip(state.outcomes, counts, strict=True)
        ]
        sums.append(worst_target_lives(credits, terms).target_lives)
    return sorted(sums)


def _credit(outcome: Outcome, count: int, terms: Terms) -> int:
    if outcome.ending == "VOID":
        return 0
    return plan_credit(outcome, terms, at_cycles=count)


_Reached = Callable[[int], list[int]]


def _by_clock(state: LotState) -> _Reached | None:
    """Counted cycles of every unit at the time of one unit's failure; None without rows."""
    lives = state.lives
    if len(lives) != len(state.outcomes) or not all(
        life.stretches or life.ending == "RUNNING" for life in lives
    ):
        return None

    def reached(number: int) -> list[int]:
        failed_at = _instant_of(lives[number].stretches, _failed_after(state.outcomes[number]))
        return [_count_at(life.stretches, failed_at) for life in lives]

    return reached


def _side_by_side(state: LotState) -> _Reached:
    def reached(number: int) -> list[int]:
        count = _failed_after(state.outcomes[number])
        return [min(count, outcome.credited_cycles) for outcome in state.outcomes]

    return reached


def _failed_after(outcome: Outcome) -> int:
    if outcome.cycles is not None:
        return outcome.cycles
    return outcome.credited_cycles if outcome.cycles_low is None else outcome.cycles_low


def _instant_of(stretches: Sequence[StretchLine], count: int) -> datetime:
    """When a unit had run so many counted cycles."""
    for stretch in stretches:
        if count <= stretch.counted_before + _earned(stretch):
            share = max(0, count - stretch.counted_before) / max(1, _earned(stretch))
            return stretch.first_started_at + share * (
                stretch.last_started_at - stretch.first_started_at
            )
    return stretches[-1].last_started_at


def _count_at(stretches: Sequence[StretchLine], instant: datetime) -> int:
    """Counted cycles that a unit had run by an instant, rounded down."""
    count = 0
    for stretch in stretches:
        if stretch.last_started_at <= instant:
            count += _earned(stretch)
        elif stretch.first_started_at < instant:
            length = stretch.last_started_at - stretch.first_started_at
            count += int(_earned(stretch) * ((instant - stretch.first_started_at) / length))
    return count


def _earned(stretch: StretchLine) -> int:
    """Cycles that a stretch earned: those with a counted row, and those that thinning left out."""
    return stretch.counted_cycles + (stretch.inferred_cycles or 0)
