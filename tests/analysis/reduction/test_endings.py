"""How one reading of a life ends."""

import pytest
from reduction_builders import (
    CANNOT_BUILD,
    DECAY,
    LEAK,
    evidence,
    failing,
    happened,
    inspected,
    spec,
    stretch,
)

from analysis.reduction.endings import LifeEnd, end_of_life, last_clean, planned_cycles
from schemas.specs import Spec
from schemas.stretches import CycleTally, StretchSummary

INSPECTED = spec(DECAY, LEAK)


def ending(*stretches: StretchSummary, under: Spec | None = None, **changes: object) -> LifeEnd:
    return end_of_life(evidence(*stretches, **changes), stretches, under or spec())


def said(end: LifeEnd) -> tuple:
    count = (end.cycles_low, end.cycles_high) if end.cycles is None else end.cycles
    return end.ending, count, end.credited_cycles


def test_the_planned_count_makes_a_run_out_and_the_life_is_the_true_count() -> None:
    end = ending(stretch(1200), stretch(850, key=2, hour=3))
    assert said(end) == ("RUN_OUT", 2050, 2050)
    assert end.has_ended


def test_one_cycle_short_of_the_plan_is_a_suspension_that_may_resume() -> None:
    end = ending(stretch(1999))
    assert (end.ending, end.has_ended) == ("SUSPENDED", False)


def test_where_modes_hide_a_run_out_waits_for_its_clean_end_check() -> None:
    unchecked = ending(stretch(2000), under=INSPECTED, inspections=[inspected(900)])
    assert said(unchecked) == ("RUNNING", 2000, 900)
    assert (unchecked.marks, unchecked.has_ended) == (("END_CHECK_DUE",), False)
    checked = ending(stretch(2000), under=INSPECTED, inspections=[inspected(2000)])
    assert said(checked) == ("RUN_OUT", 2000, 2000)


def test_a_failed_end_check_is_a_bracket_from_the_last_clean_one() -> None:
    looks = [inspected(700), inspected(1250), inspected(2000, leak_class=4)]
    end = ending(stretch(2000), under=INSPECTED, inspections=looks)
    assert said(end) == ("FAILED_BETWEEN", (1250, 2000), 1250)
    assert end.failure.seen_as == "LEAK"


def test_a_first_inspection_that_is_bad_brackets_from_the_start() -> None:
    end = ending(stretch(900), under=INSPECTED, inspections=[inspected(500, leak_class=5)])
    assert said(end) == ("FAILED_BETWEEN", (0, 500), 0)


def test_a_clean_look_after_the_bad_one_at_the_same_count_clears_nothing() -> None:
    looks = [
        inspected(400, hour=1),
        inspected(900, hour=5, leak_class=4),
        inspected(900, hour=8),
    ]
    assert said(ending(stretch(900), under=INSPECTED, inspections=looks)) == (
        "FAILED_BETWEEN",
        (400, 900),
        400,
    )


def test_a_bad_look_right_after_a_clean_one_is_exact() -> None:
    looks = [inspected(900, hour=5), inspected(900, hour=6, leak_class=4)]
    assert said(ending(stretch(900), under=INSPECTED, inspections=looks)) == ("FAILED", 900, 900)


def test_a_failure_seen_exactly_stands_against_an_inspection_that_finds_one_later() -> None:
    bad = inspected(704, leak_class=4)
    end = ending(failing(704, 700), under=INSPECTED, inspections=[bad])
    assert said(end) == ("FAILED", 700, 700)
    assert end.failure.seen_as == "DECAY"


def test_a_bracket_that_ends_before_an_exact_failure_comes_first() -> None:
    bad = inspected(600, leak_class=4)
    end = ending(failing(704, 700), under=INSPECTED, inspections=[bad])
    assert said(end) == ("FAILED_BETWEEN", (0, 600), 0)


def test_the_first_failure_ends_the_life_whatever_is_cycled_after_it() -> None:
    end = ending(failing(904, 900), stretch(2000, key=2, hour=4))
    assert said(end) == ("FAILED", 900, 900)
    assert (end.at_counted, end.at_logged) == (900, 900)
    assert end.failure.failure_mode == "UNANALYSED"


def test_a_failure_counts_at_the_counted_and_the_logged_number() -> None:
    warm = stretch(500, not_counted={"MODE": 30})
    assert ending(warm, failing(104, 100, key=2, hour=3)).at_logged == 630


def test_a_mode_that_is_not_relevant_suspends_at_its_count() -> None:
    rig_side = DECAY | {"relevant": False}
    end = ending(failing(904, 900), under=spec(rig_side, LEAK), inspections=[inspected(300)])
    assert (said(end), end.failure.relevant) == (("SUSPENDED", 900, 300), False)


def test_a_leak_that_is_not_relevant_ends_nothing() -> None:
    fitting = LEAK | {"relevant": False}
    bad = inspected(600, leak_class=5)
    end = ending(stretch(2000), under=spec(DECAY, fitting), inspections=[bad])
    assert said(end) == ("RUN_OUT", 2000, 2000)


def test_a_failure_that_no_mode_describes_ends_nothing() -> None:
    assert ending(failing(904, 900), under=spec(CANNOT_BUILD)).ending == "SUSPENDED"


def test_a_unit_that_can_not_build_has_failed_at_its_count() -> None:
    end = ending(stretch(900, under_pressure_at_end=6), cannot_build={1: "UNIT"})
    assert said(end) == ("FAILED", 900, 900)
    assert end.failure.seen_as == "CANNOT_BUILD"


def test_a_burst_in_a_cycle_that_counts_or_not_is_credited_what_was_counted() -> None:
    assert said(ending(stretch(900, ends_in_burst=True))) == ("FAILED", 900, 900)
    uncounted = stretch(900, not_counted={"UNDER_PRESSURE": 1}, ends_in_burst=True)
    assert said(ending(uncounted)) == ("FAILED", 900, 900)
    assert ending(uncounted).failure.critical


@pytest.mark.parametrize("kind", ["REMOVED", "REWORK"])
def test_a_removal_or_a_repair_ends_the_life_there(kind: str) -> None:
    removed = happened(800, kind=kind, cause="SCHEDULED")
    end = ending(stretch(800), stretch(1500, key=2, hour=4), events=[removed])
    assert (said(end), end.has_ended) == (("SUSPENDED", 800, 800), True)


def test_a_removed_unit_is_credited_up_to_its_last_clean_inspection() -> None:
    end = ending(
        stretch(800),
        under=INSPECTED,
        events=[happened(800, cause="SCHEDULED")],
        inspections=[inspected(600)],
    )
    assert said(end) == ("SUSPENDED", 800, 600)


def test_taking_off_a_unit_that_reached_its_count_leaves_it_a_run_out() -> None:
    taken_off = [happened(2000, cause="SCHEDULED")]
    assert said(ending(stretch(2000), events=taken_off)) == ("RUN_OUT", 2000, 2000)
    due = ending(stretch(2000), under=INSPECTED, events=taken_off)
    assert (due.ending, due.marks, due.has_ended) == ("RUNNING", ("END_CHECK_DUE",), False)


def test_a_leak_found_right_after_the_removal_is_a_failure() -> None:
    end = ending(
        stretch(800),
        under=INSPECTED,
        events=[happened(800, cause="SCHEDULED")],
        inspections=[inspected(800, leak_class=4)],
    )
    assert end.ending == "FAILED_BETWEEN"


def test_an_open_run_is_running_and_has_not_ended() -> None:
    end = ending(stretch(500, stop=None), is_newest_on_station=True)
    assert (end.ending, end.has_ended, end.marks) == ("RUNNING", False, ())


def test_a_run_without_a_reason_after_which_the_station_ran_on_is_suspended() -> None:
    assert ending(stretch(500, stop=None)).ending == "SUSPENDED"


def test_done_by_the_rig_but_not_by_the_count_is_a_suspension_that_says_so() -> None:
    end = ending(stretch(1700, missing=300, stop="DONE"))
    assert (said(end), end.marks) == (("SUSPENDED", 1700, 1700), ("PLANNED_NOT_COUNTED",))


def test_a_listed_unit_without_rows_is_running_and_not_started() -> None:
    end = ending()
    assert (end.ending, end.at_counted, end.marks) == ("RUNNING", 0, ("NOT_STARTED",))


def test_the_farthest_requirement_decides_what_is_planned() -> None:
    two = spec(
        requirement=[
            {"reliability": 0.9, "confidence": 0.9, "target_cycles": target}
            for target in (1000, 3000)
        ],
        plan={"planned_cycles": None, "life_ratio": 1.5},
    )
    assert planned_cycles(two) == 4500


def test_the_last_clean_inspection_is_the_one_with_most_cycles_up_to_a_count() -> None:
    looks = [inspected(900), inspected(300), inspected(1200, leak_class=4)]
    assert last_clean(looks, INSPECTED).counted_cycles == 900
    assert last_clean(looks, INSPECTED, 899).counted_cycles == 300
    assert last_clean(looks, INSPECTED, 299) is None


# A failure right after missing rows: a bracket from the last counted cycle before the gap to
# the failing cycle, which it includes. A survivor gets no credit for what is missing.


def ended(*stretches: StretchSummary, **changes: object) -> tuple:
    end = end_of_life(evidence(*stretches, **changes), stretches, spec())
    return end.ending, end.cycles, end.cycles_low, end.cycles_high, end.credited_cycles


def test_a_failure_right_after_missing_rows_lies_between_the_cycles_around_them() -> None:
    # 50 cycles are counted, 300 are missing, the next one exceeds the limit: 51 to 351.
    assert ended(failing(60, 51, missing_before=300)) == ("FAILED_BETWEEN", None, 50, 351, 50)


def test_it_is_exact_again_when_the_rows_arrive() -> None:
    # Of the 300 cycles the last hundred turn out to have been over the limit already.
    whole = failing(360, 251)
    assert ended(whole) == ("FAILED", 251, None, None, 251)
    _, _, low, high, _ = ended(failing(60, 51, missing_before=300))
    assert low < 251 <= high


def test_a_failure_after_sound_cycles_is_exact_whatever_was_missing_before_them() -> None:
    assert ended(stretch(100, missing=300), failing(60, 51, key=2))[:2] == ("FAILED", 151)


def test_a_burst_in_an_uncounted_cycle_after_a_gap_may_have_come_in_the_gap() -> None:
    burst = stretch(
        90,
        ends_in_burst=True,
        last_cycle_counted=False,
        not_counted={"UNDER_PRESSURE": 1},
        missing=6,
        missing_before_end=6,
    )
    assert ended(burst) == ("FAILED_BETWEEN", None, 90, 96, 90)


def test_caution_counts_the_missing_cycles_of_a_bracket_and_acceptance_does_not() -> None:
    rows = [failing(60, 51, missing_before=300)]
    end = end_of_life(evidence(*rows), rows, spec())
    assert (end.most_cycles, end.credited_cycles, end.at_counted) == (351, 50, 51)
    assert end.verified_cycles == 50


def test_the_cycles_up_to_an_ending_are_told_with_it() -> None:
    tally = CycleTally(test_cycles=70, under_pressure_cycles=4)
    failed = failing(904, 900, up_to=tally, key=2)
    before = stretch(100, not_counted={"UNDER_PRESSURE": 3})
    rows = [before, failed]
    end = end_of_life(evidence(*rows), rows, spec())
    assert end.up_to == CycleTally(test_cycles=173, under_pressure_cycles=7)
    whole = end_of_life(evidence(before), [before], spec())
    assert whole.up_to == CycleTally(test_cycles=103, under_pressure_cycles=3)
