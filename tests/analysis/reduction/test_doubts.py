"""All doubts about a unit together, read for it and against it."""

from reduction_builders import evidence, failing, hold_names, spec, stretch

from analysis.reduction.doubts import as_it_stands, doubts_of, extremes
from analysis.reduction.endings import LifeEnd
from schemas.holds import HoldEvidence
from schemas.specs import Spec
from schemas.stretches import CycleTally, StretchSummary
from schemas.unit_evidence import IdentityConflict

LIMITED = spec(
    conditions={"pressure_invalidation_mpa": 36.58},
    reduction={"under_pressure_share_max": 0.05, "clipped_cycles": 3},
)
OVER = CycleTally(test_cycles=2000, invalidating_cycles=1)


def read(
    *stretches: StretchSummary, under: Spec = LIMITED, **changes: object
) -> tuple[list[str], LifeEnd, LifeEnd]:
    """Names of the doubts, then the best and the worst life."""
    known = evidence(*stretches, **changes)
    end = as_it_stands(known, under)
    doubts = doubts_of(known, under, end)
    return hold_names(doubts), *extremes(known, under, end, doubts)


def shared(key: int) -> IdentityConflict:
    where = HoldEvidence(run_id=f"run-{key:02}", other_unit_serial="U-002")
    return IdentityConflict(stretch_key=key, lap=1, evidence=where)


def test_a_stretch_that_may_be_another_units_is_this_ones_at_best_and_voids_it_at_worst() -> None:
    names, best, worst = read(stretch(2000), identity_conflicts=[shared(1)])
    assert names == ["IDENTITY_CONFLICT"]
    assert (best.ending, best.credited_cycles) == ("RUN_OUT", 2000)
    assert (worst.ending, worst.credited_cycles) == ("VOID", 0)


def test_a_doubtful_stretch_after_the_failure_asks_nothing() -> None:
    after = {"identity_conflicts": [shared(2)]}
    assert read(failing(904, 900), stretch(100, key=2, hour=3), **after)[0] == []
    assert read(stretch(100), failing(904, 900, key=2, hour=3), **after)[0] == ["IDENTITY_CONFLICT"]


def test_a_failure_that_an_open_stop_may_hide_hurts_more_than_a_void_unit() -> None:
    names, best, worst = read(stretch(500, stop="E17"), stretch(1600, key=2, hour=3, tally=OVER))
    assert names == ["UNEXPLAINED_STOP", "OVER_PRESSURE"]
    assert best.ending == "RUN_OUT"
    assert (worst.ending, worst.cycles) == ("FAILED", 500)


def test_a_conflicting_row_may_void_the_unit_by_itself() -> None:
    # Only the worse of two rows of one cycle was over the invalidation limit.
    stored = stretch(2000)
    names, best, worst = read(
        stored,
        kindest=[stored],
        harshest=[stretch(1999, not_counted={"OVER_PRESSURE": 1}, tally=OVER)],
    )
    assert names == ["CONFLICTING_ROWS"]
    assert (best.ending, worst.ending) == ("RUN_OUT", "VOID")


def test_cycles_short_of_a_record_count_on_top_of_every_other_best_reading() -> None:
    silent = {"CONDITION_NOT_RECORDED": 300}
    names, best, worst = read(stretch(1500, stop=None, not_counted=silent))
    assert names == ["UNEXPLAINED_STOP", "CONDITION_NOT_RECORDED"]
    assert (best.ending, best.credited_cycles) == ("SUSPENDED", 1800)
    assert (worst.ending, worst.credited_cycles) == ("FAILED", 1500)
