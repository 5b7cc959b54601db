"""One life read in two ways, by hand."""

import pytest
from reduction_builders import DECAY, LEAK, spec, stretch

from analysis.reduction.endings import LifeEnd
from analysis.reduction.readings import (
    either,
    excluded,
    most_before,
    with_unrecorded,
    without_cycles,
)
from schemas.lives import FailureSeen
from schemas.stretches import CycleTally, StretchSummary

SEEN = FailureSeen(seen_as="DECAY", failure_mode="UNANALYSED", critical=False, relevant=True)


def end(ending: str, counted: int, **changes: object) -> LifeEnd:
    fields = {
        "ending": ending,
        "at_counted": counted,
        "at_logged": counted,
        "verified_cycles": counted,
        "has_ended": ending != "RUNNING",
        "cycles": counted,
        "failure": SEEN if ending.startswith("FAILED") else None,
    }
    return LifeEnd(**(fields | changes))


def bracket(low: int, high: int, **changes: object) -> LifeEnd:
    fields = {"cycles": None, "cycles_low": low, "cycles_high": high, "verified_cycles": low}
    return end("FAILED_BETWEEN", high, **(fields | changes))


def doubtful(stretch: StretchSummary) -> int:
    return stretch.condition_absent_cycles


def test_a_failure_hurts_more_than_a_void_unit_and_that_more_than_less_credit() -> None:
    failed, void = end("FAILED", 900), end("VOID", 0)
    short, long = end("SUSPENDED", 100), end("RUN_OUT", 2000)
    for better, worse in ((long, short), (short, void), (void, failed), (long, failed)):
        assert either(better, worse) == either(worse, better) == (better, worse)


def test_what_is_excluded_is_void_unless_it_failed() -> None:
    assert excluded(end("RUN_OUT", 2000)).ending == "VOID"
    assert excluded(end("RUN_OUT", 2000)).credited_cycles == 0
    assert excluded(bracket(300, 500)) == bracket(300, 500)


def test_cycles_in_doubt_are_those_that_can_lie_before_a_count() -> None:
    runs = [stretch(400, condition_absent_cycles=300), stretch(600, key=2, hour=3)]
    assert [most_before(runs, n, doubtful) for n in (0, 100, 300, 350, 400, 900)] == [
        *(0, 100, 300),
        *(300, 300, 300),
    ]


def test_without_its_doubtful_cycles_a_run_out_may_be_short_of_its_plan() -> None:
    rows = [stretch(2100, condition_absent_cycles=300)]
    short = without_cycles(end("RUN_OUT", 2100), rows, spec(), doubtful)
    assert (short.ending, short.has_ended, short.credited_cycles) == ("SUSPENDED", False, 1800)


def test_a_bracket_that_loses_all_its_cycles_is_an_exact_failure() -> None:
    rows = [stretch(500, condition_absent_cycles=400)]
    kept = without_cycles(bracket(300, 500), rows, spec(), doubtful)
    assert (kept.ending, kept.cycles_low, kept.cycles_high) == ("FAILED_BETWEEN", 0, 100)
    rows = [stretch(500, condition_absent_cycles=500)]
    none_left = without_cycles(bracket(300, 500), rows, spec(), doubtful)
    assert (none_left.ending, none_left.cycles, none_left.cycles_low) == ("FAILED", 0, None)


def short_of_record(counted: int, silent: int, **changes: object) -> StretchSummary:
    return stretch(counted, not_counted={"CONDITION_NOT_RECORDED": silent}, **changes)


UP_TO = CycleTally(only_not_recorded_cycles=100)


@pytest.mark.parametrize(
    ("counted", "ending", "ended"), [(1899, "SUSPENDED", True), (1900, "RUN_OUT", True)]
)
def test_cycles_that_lack_a_cell_may_complete_the_plan(
    counted: int, ending: str, ended: bool
) -> None:
    rows = [short_of_record(counted, 100)]
    found = with_unrecorded(end("SUSPENDED", counted, up_to=UP_TO), rows, spec())
    assert (found.ending, found.cycles, found.has_ended) == (ending, counted + 100, ended)


def test_a_plan_completed_so_still_waits_for_its_end_check() -> None:
    rows = [short_of_record(1950, 100)]
    inspected = end("RUNNING", 1950, verified_cycles=900, up_to=UP_TO)
    found = with_unrecorded(inspected, rows, spec(DECAY, LEAK))
    # By the last clean check all hundred may have been run already.
    assert (found.ending, found.marks, found.verified_cycles) == (
        "RUNNING",
        ("END_CHECK_DUE",),
        1000,
    )


def test_a_failure_stays_one_and_comes_after_more_cycles() -> None:
    rows = [short_of_record(400, 60), short_of_record(600, 40, key=2, hour=3)]
    found = with_unrecorded(bracket(300, 1000, up_to=UP_TO), rows, spec())
    assert (found.ending, found.cycles_low, found.cycles_high) == ("FAILED_BETWEEN", 360, 1100)
    exact = with_unrecorded(end("FAILED", 2500, up_to=UP_TO), rows, spec())
    assert (exact.ending, exact.cycles) == ("FAILED", 2600)


def test_where_every_cell_says_something_nothing_changes() -> None:
    whole = end("RUN_OUT", 2000)
    assert with_unrecorded(whole, [stretch(2000)], spec()) is whole
