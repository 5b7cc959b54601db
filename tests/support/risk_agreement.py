"""One look at one simulated lot, told to the product as unit outcomes, and what both say of it."""

from datetime import UTC, datetime, timedelta

import numpy as np
from lives import life, outcome
from msgspec import Struct, structs
from risk_plans import ProvenPlan
from risk_simulation import Lots, count_view, cycles_at, lives_view, sums_when_failing

from analysis.decision.counting import LotState
from analysis.decision.verdict import judge
from schemas.lives import Outcome, StretchLine, UnitLife

_BEGAN = datetime(2025, 1, 13, 6, 0, tzinfo=UTC)


class Compared(Struct, frozen=True, kw_only=True):
    """Looks at which both were asked, what they said, and the looks at which they differ."""

    looks: int
    accepted: int
    refused: int
    differing: list[str]


def compare(plan: ProvenPlan, lots: Lots, looks: list[tuple[int, int]]) -> Compared:
    """Ask the rule apart and the product about each (row, look) of some lots."""
    terms = plan.terms
    assert terms is not None
    said, differing = [], []
    for row, look in looks:
        one = lots.chosen(np.array([row])).places(plan.places)
        ours = _by_rule(plan, one, look)
        theirs = (
            judge(_state(one, look, overdue_fail=True), terms).verdict == "ACCEPT",
            judge(_state(one, look, overdue_fail=False), terms).verdict == "REJECT",
        )
        said.append(ours)
        if ours != theirs:
            differing.append(f"{plan.name}: lot {row}, look {look}: {ours} and {theirs}")
    return Compared(
        looks=len(said),
        accepted=sum(yes for yes, _ in said),
        refused=sum(no for _, no in said),
        differing=differing,
    )


def _by_rule(plan: ProvenPlan, lot: Lots, look: int) -> tuple[bool, bool]:
    if plan.clock == "UNITS":
        yes, no = plan.rule(count_view(lot, look))
    else:
        yes, no = plan.rule(lives_view(lot, look, sums_when_failing(lot)))
    return bool(yes[0]), bool(no[0])


def _state(lot: Lots, look: int, *, overdue_fail: bool) -> LotState:
    """What has been uploaded of a lot, overdue units decided one way."""
    cycles = cycles_at(lot, look)[0]
    outcomes, lives = list[Outcome](), list[UnitLife]()
    for place in np.flatnonzero(lot.start[0] < look):
        count, failed = int(cycles[place]), bool(lot.failed[0, place])
        heard = int(lot.known[0, place])
        if overdue_fail:
            heard = min(heard, int(lot.overdue[0, place]))
        if failed and look >= heard:
            each = outcome("FAILED", count)
        elif count >= lot.planned and not failed:
            each = outcome("RUN_OUT", count)
        else:
            each = outcome("RUNNING", count)
        outcomes.append(each)
        lives.append(_with_clock(each, int(lot.start[0, place])))
    return LotState(
        outcomes=outcomes,
        serials=[each.unit_serial for each in lives],
        place_count=len(outcomes),
        has_started=bool(outcomes),
        end_checks_due=[],
        in_place_order=list(range(len(outcomes))),
        lives=lives,
    )


def _with_clock(each: Outcome, start: int) -> UnitLife:
    """A life with its one stretch, begun at a full hour, a cycle each 2.5 seconds."""
    count = each.most_cycles
    began = _BEGAN + timedelta(hours=start)
    stretch = StretchLine(
        rig_id="RIG-A",
        run_id=f"run-{start}",
        station_no=1,
        lap=1,
        first_cycle_in_run=1,
        last_cycle_in_run=max(count, 1),
        first_started_at=began,
        last_started_at=began + timedelta(seconds=2.5 * count),
        logged_cycles=count,
        counted_cycles=count,
        not_counted_by={},
        unlogged_cycles=0,
        counted_before=0,
        stop_class="RUNNING",
    )
    return structs.replace(life(f"U-{start}", each), stretches=[stretch])
