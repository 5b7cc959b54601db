"""What each unit counts for: failed or survived at a count, and the cycles it is credited."""

from collections.abc import Sequence

from msgspec import Struct

from analysis.decision.terms import Terms
from schemas.lives import Outcome, UnitLife


class LotState(Struct, frozen=True, kw_only=True):
    """
    The outcomes of a lot's units under one way of deciding its holds.

    `serials` go with `outcomes` in order. `place_count` counts the units that take a
    place in the sample: a serial that nobody listed takes none. `in_place_order` are
    the numbers of the outcomes with a place, those that started first before others.
    `lives` go with the outcomes too; a test told without rows may leave them out.
    """

    outcomes: list[Outcome]
    serials: list[str]
    place_count: int
    has_started: bool
    end_checks_due: list[str]
    in_place_order: list[int] = []
    lives: list[UnitLife] = []

    def has_ended(self, terms: Terms) -> bool:
        """Whether every place that the plan offers is taken by a unit that has ended."""
        return self.place_count >= terms.max_units and all(o.has_ended for o in self.outcomes)


class Tally(Struct, frozen=True, kw_only=True):
    """
    Units sorted by what is known of them at one count.

    `failed_count` takes a bracket across the count for a failure, as caution asks when
    a lot is to be accepted; `surely_failed_count` does not, as it asks when a lot is to
    be shown below its requirement. `pending_count` units are undecided and may run on.
    """

    survivor_count: int
    failed_count: int
    surely_failed_count: int
    pending_count: int
    unit_count: int

    @property
    def decided_count(self) -> int:
        """Units of which it is known, or assumed by caution, how they stand at the count."""
        return self.survivor_count + self.failed_count


class CountedLives(Struct, frozen=True, kw_only=True):
    """
    A lot's cycles as a variables plan sees them, one number per unit in both lists.

    `credited_cycles` and `failure_count` are what acceptance may count; `most_cycles`
    and `surely_failed_count` are what caution counts when it turns round.
    """

    credited_cycles: list[int]
    most_cycles: list[int]
    failure_count: int
    surely_failed_count: int


def may_have_failed_by(outcome: Outcome, at_cycles: int) -> bool:
    """
    Whether a unit may have failed at or before a count.

    A life that ends exactly at the count is a failure there. A bracket counts from the
    first cycle after its low end.
    """
    if not outcome.failed:
        return False
    if outcome.cycles is not None:
        return outcome.cycles <= at_cycles
    low = outcome.cycles_low if outcome.cycles_low is not None else outcome.credited_cycles
    return low < at_cycles


def surely_failed_by(outcome: Outcome, at_cycles: int) -> bool:
    """Whether a unit has failed at or before a count, wherever in its bracket that was."""
    if not outcome.failed:
        return False
    if outcome.cycles is not None:
        return outcome.cycles <= at_cycles
    high = outcome.cycles_high if outcome.cycles_high is not None else outcome.most_cycles
    return high <= at_cycles


def tally_at(outcomes: Sequence[Outcome], at_cycles: int) -> Tally:
    """
    Sort a lot's units by what is known of them at a count.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One per unit.
    at_cycles : int, >= 1
        The count, such as the target. Cycles.

    Returns
    -------
    Tally
    """
    survivors = failed = surely_failed = pending = 0
    for outcome in outcomes:
        surely_failed += surely_failed_by(outcome, at_cycles)
        if may_have_failed_by(outcome, at_cycles):
            failed += 1
        elif outcome.credited_cycles >= at_cycles:
            survivors += 1
        elif not outcome.has_ended:
            pending += 1
    return Tally(
        survivor_count=survivors,
        failed_count=failed,
        surely_failed_count=surely_failed,
        pending_count=pending,
        unit_count=len(outcomes),
    )


def plan_credit(outcome: Outcome, terms: Terms, *, at_cycles: int | None = None) -> int:
    """
    Cycles that the plan credits to a unit.

    With `at_cycles` the credit it would have if it had come so far and were found
    clean there. Under ``ONCE_AT_TARGET`` a unit that completed the target unfailed is
    credited the target and any other unit nothing.
    """
    reached = outcome.credited_cycles if at_cycles is None else at_cycles
    if terms.credit != "ONCE_AT_TARGET":
        return min(reached, terms.planned_cycles)
    if may_have_failed_by(outcome, terms.target_cycles) or reached < terms.target_cycles:
        return 0
    return terms.target_cycles


def counted_by_plan(outcomes: Sequence[Outcome], terms: Terms) -> CountedLives:
    """
    A lot's cycles and failures as its plan counts them.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One per unit.
    terms : Terms
        The requirement and its plan.

    Returns
    -------
    CountedLives

    Notes
    -----
    A failure counts if it lies at or before the count where credit stops; later it is
    shown, not counted. When caution turns round, every unit that has not surely failed
    by then counts as a survivor to that count, a failed one up to the last cycle at
    which it may have lived, and under ``ONCE_AT_TARGET`` every unit a whole target life:
    with no distribution assumed, a failed unit may have used up all of it.
    """
    limit = terms.last_credited_cycles
    surely = [surely_failed_by(outcome, limit) for outcome in outcomes]
    once = terms.credit == "ONCE_AT_TARGET"
    return CountedLives(
        credited_cycles=[plan_credit(outcome, terms) for outcome in outcomes],
        most_cycles=[
            min(outcome.most_cycles, limit) if failed and not once else limit
            for outcome, failed in zip(outcomes, surely, strict=True)
        ],
        failure_count=sum(may_have_failed_by(outcome, limit) for outcome in outcomes),
        surely_failed_count=sum(surely),
    )


def counted_in_full(outcomes: Sequence[Outcome], terms: Terms) -> CountedLives:
    """
    A lot's cycles and failures as they happened, run-on beyond the plan included.

    A variables argument that looks at whole lives beside a plan by counting has to
    count every failure it looks at, late ones too.
    """
    return CountedLives(
        credited_cycles=[outcome.credited_cycles for outcome in outcomes],
        most_cycles=[
            outcome.most_cycles
            if outcome.failed
            else max(outcome.most_cycles, terms.planned_cycles)
            for outcome in outcomes
        ],
        failure_count=sum(outcome.failed for outcome in outcomes),
        surely_failed_count=sum(outcome.failed for outcome in outcomes),
    )
