"""What would finish a plan, within what was approved: units, cycles, checks, decisions."""

from collections.abc import Callable, Sequence

from msgspec import UNSET, Struct

from analysis.decision.attribute import undecided_count
from analysis.decision.counting import LotState, Tally, counted_by_plan, plan_credit, tally_at
from analysis.decision.plan_stops import stops_in_units
from analysis.decision.terms import Terms
from analysis.decision.weibayes_plan import required_target_lives, worst_target_lives
from analysis.statistics.weibayes import reaches_requirement
from schemas.decisions import WayToFinish
from schemas.lives import Outcome


class _Runner(Struct, frozen=True, kw_only=True):
    """A declared unit that may run on: what it is credited now, and cycles it has left."""

    credited_cycles: int
    cycles_left: int


def ways_within_plan(state: LotState, terms: Terms) -> list[WayToFinish]:
    """
    What would finish a plan that goes on, if no further unit failed.

    Parameters
    ----------
    state : LotState
        The outcomes of the lot's units, holds at their headline.
    terms : Terms
        The requirement and its plan, which has neither accepted nor refused.

    Returns
    -------
    list of WayToFinish
        In the order in which they are done: checks at the end, then the fewest
        declared units to run to the end of their credit, then units to add, if
        the plan offers places for enough of them. Nothing goes beyond the plan: no
        unit is run past the count where its credit stops.
    """
    checks = []
    if state.end_checks_due:
        checks = [
            WayToFinish(
                kind="CHECK_AT_END",
                unit_count=len(state.end_checks_due),
                unit_serials=state.end_checks_due,
            )
        ]
    if terms.adds_target_lives:
        return checks + _by_target_lives(state, terms)
    return checks + _by_counting(state, terms)


def most_of_each_kind(ways: Sequence[WayToFinish]) -> list[WayToFinish]:
    """For several requirements: of each kind of way the one with the most units."""
    largest: dict[str, WayToFinish] = {}
    for way in ways:
        known = largest.get(way.kind)
        if known is None or (way.unit_count or 0) > (known.unit_count or 0):
            largest[way.kind] = way
    return list(largest.values())


def _by_target_lives(state: LotState, terms: Terms) -> list[WayToFinish]:
    failures = counted_by_plan(state.outcomes, terms).failure_count
    limit, required = terms.last_credited_cycles, required_target_lives(terms, failures)
    due = set(state.end_checks_due)
    after_checks = [
        plan_credit(outcome, terms, at_cycles=_reached(outcome) if serial in due else None)
        for serial, outcome in zip(state.serials, state.outcomes, strict=True)
    ]
    may_run, stopped = [], []
    for outcome, credit in zip(state.outcomes, after_checks, strict=True):
        left = _cycles_left(outcome, limit)
        if left:
            may_run.append(_Runner(credited_cycles=credit, cycles_left=left))
        else:
            stopped.append(credit)
    # The least credited gain most, so they come first where the fewest units are asked.
    runners = sorted(may_run + _not_listed(state, terms), key=lambda r: r.credited_cycles)
    credits = [runner.credited_cycles for runner in runners]

    def suffices(finished: int, added: int = 0) -> bool:
        lives = stopped + [limit] * (finished + added) + credits[finished:]
        return reaches_requirement(worst_target_lives(lives, terms).target_lives, required)

    if suffices(0):
        return []
    now = [plan_credit(outcome, terms) for outcome in state.outcomes]
    missing = max(0.0, required - worst_target_lives(now, terms).target_lives)
    everyone = len(runners)
    if suffices(everyone):
        return _finish(runners[: _fewest(suffices, everyone)], missing)
    places = terms.max_units - max(state.place_count, terms.unit_count)
    ways = _finish(runners, missing)
    if places > 0 and suffices(everyone, places):
        added = _fewest(lambda count: suffices(everyone, count), places)
        ways.append(_add(added, limit))
    return ways


def _by_counting(state: LotState, terms: Terms) -> list[WayToFinish]:
    tally = tally_at(state.outcomes, terms.planned_cycles)
    needed = _passes_needed(tally, terms) - len(state.end_checks_due)
    runners = [
        _Runner(credited_cycles=outcome.credited_cycles, cycles_left=left)
        for outcome in state.outcomes
        if (left := _cycles_left(outcome, terms.planned_cycles))
    ]
    runners = sorted(runners + _not_listed(state, terms), key=lambda r: r.cycles_left)
    ways = _finish(runners[: max(0, needed)])
    added = needed - len(runners)
    if 0 < added <= terms.max_units - max(state.place_count, terms.unit_count):
        ways.append(_add(added, terms.planned_cycles))
    return ways


def _passes_needed(tally: Tally, terms: Terms) -> int:
    """Undecided units that must pass before a plan by counting accepts."""
    if terms.kind == "ATTRIBUTE":
        # So many that failures are allowed whatever the rest does.
        undecided = undecided_count(tally, terms.unit_count)
        return tally.failed_count + undecided - terms.allowed_failures
    accept_at = stops_in_units(terms).accept_at
    decided = tally.decided_count
    for units in range(max(decided, 1), len(accept_at) + 1):
        if accept_at[units - 1] >= tally.failed_count:
            return units - decided
    return len(accept_at) - decided


def _reached(outcome: Outcome) -> int:
    """Cycles a unit has run, checked or not."""
    return outcome.cycles if outcome.cycles is not None else outcome.credited_cycles


def _cycles_left(outcome: Outcome, limit: int) -> int:
    """Cycles that a unit can still run within its credit; none once it has ended."""
    return 0 if outcome.has_ended else max(0, limit - _reached(outcome))


def _not_listed(state: LotState, terms: Terms) -> list[_Runner]:
    """Declared units that nobody has listed yet: they have everything left to run."""
    missing = max(0, terms.unit_count - state.place_count)
    fresh = _Runner(credited_cycles=0, cycles_left=terms.last_credited_cycles)
    return [fresh] * missing


def _fewest(suffices: Callable[[int], bool], most: int) -> int:
    """Smallest count from 1 to `most` that suffices; `most` is known to."""
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if suffices(middle) else (middle, high)
    return high


def _finish(runners: Sequence[_Runner], missing: float | None = None) -> list[WayToFinish]:
    if not runners:
        return []
    return [
        WayToFinish(
            kind="FINISH_DECLARED_UNITS",
            unit_count=len(runners),
            cycles_each=max(runner.cycles_left for runner in runners),
            cycles_in_all=sum(runner.cycles_left for runner in runners),
            target_lives_missing=UNSET if missing is None else missing,
        )
    ]


def _add(unit_count: int, cycles_each: int) -> WayToFinish:
    return WayToFinish(
        kind="ADD_UNITS",
        unit_count=unit_count,
        cycles_each=cycles_each,
        cycles_in_all=unit_count * cycles_each,
    )
