"""A lot with its holds as they are, all decided in its favour, and all decided against it."""

from collections.abc import Sequence

from msgspec import Struct

from analysis.decision.counting import LotState
from analysis.decision.places import first_come
from schemas.holds import Hold
from schemas.lives import Outcome, UnitLife
from schemas.lot_evidence import LotEvidence


class LotStates(Struct, frozen=True, kw_only=True):
    """
    The three states of a lot between which its holds decide.

    Without an open hold, or with holds that change nothing, all three are one.
    """

    headline: LotState
    best: LotState
    worst: LotState
    holds: list[Hold]
    held_serials: list[str]


def states_of(evidence: LotEvidence) -> LotStates:
    """
    Line up the outcomes of a lot's units for the three ways of looking at its holds.

    Parameters
    ----------
    evidence : LotEvidence
        Lives, each with its outcome as reduced and at its best and worst.

    Returns
    -------
    LotStates

    Notes
    -----
    A hold of the lot that names no unit has no life to change. At the worst end a
    failure that it may stand for is added as a unit of its own; at the best end, and
    in the headline, nothing is added.
    """
    lives = evidence.lives
    nameless = [hold for hold in evidence.lot_holds if not hold.unit_id]
    headline = _state(lives, [life.outcome for life in lives])
    best = _state(lives, [life.best for life in lives])
    worst = _state(
        lives,
        [life.worst for life in lives] + [_failure(hold) for hold in nameless if hold.worst.failed],
    )
    return LotStates(
        headline=headline,
        best=best,
        worst=worst,
        holds=_open_holds(evidence),
        held_serials=[life.unit_serial for life in lives if life.holds],
    )


def _state(lives: Sequence[UnitLife], outcomes: list[Outcome]) -> LotState:
    serials = [life.unit_serial for life in lives]
    return LotState(
        outcomes=outcomes,
        serials=serials + [""] * (len(outcomes) - len(serials)),
        place_count=sum("NOT_IN_SAMPLE" not in life.marks for life in lives),
        has_started=any("NOT_STARTED" not in life.marks for life in lives),
        end_checks_due=[life.unit_serial for life in lives if "END_CHECK_DUE" in life.marks],
        in_place_order=_place_order(lives),
        lives=list(lives),
    )


def _place_order(lives: Sequence[UnitLife]) -> list[int]:
    """Numbers of the lives with a place in the sample, first come first."""
    placed = [n for n, life in enumerate(lives) if "NOT_IN_SAMPLE" not in life.marks]
    return sorted(placed, key=lambda number: first_come(lives[number]))


def _open_holds(evidence: LotEvidence) -> list[Hold]:
    """Every open hold once, those of the units first."""
    holds = {hold.hold_id: hold for life in evidence.lives for hold in life.holds}
    for hold in evidence.lot_holds:
        holds.setdefault(hold.hold_id, hold)
    return list(holds.values())


def _failure(hold: Hold) -> Outcome:
    """The failure that a hold without a unit stands for at its worst."""
    cycles = hold.worst.credited_cycles
    return Outcome(
        ending="FAILED",
        credited_cycles=cycles,
        most_cycles=cycles,
        failed=True,
        has_ended=True,
        cycles=cycles,
    )
