"""One unit's evidence to its life, with both readings of every hold."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import UNSET
from reduction_builders import (
    DECAY,
    LEAK,
    declared,
    evidence,
    failing,
    happened,
    hold_names,
    inspected,
    low_fluid_stop,
    spec,
    stretch,
)

from analysis.reduction.lives import reduce_unit
from schemas.holds import HoldEvidence
from schemas.lives import UnitLife
from schemas.specs import Spec
from schemas.stretches import StretchSummary

INSPECTED = spec(DECAY, LEAK, inspection_interval_cycles=1500)


def life(*stretches: StretchSummary, under: Spec | None = None, **changes: object) -> UnitLife:
    return reduce_unit(evidence(*stretches, **changes), under or spec())


def readings(found: UnitLife) -> tuple:
    """The one hold of a life: its name, then ending and credit at best and at worst."""
    (hold,) = found.holds
    sides = [(side.ending, side.credited_cycles, side.failed) for side in (hold.best, hold.worst)]
    assert [(o.ending, o.credited_cycles, o.failed) for o in (found.best, found.worst)] == sides
    return hold.name, sides[0][:2], sides[1][:2]


def test_a_clean_run_out_has_no_hold_and_one_outcome() -> None:
    found = life(stretch(2100, stop="DONE"))
    assert (found.ending, found.cycles, found.credited_cycles, found.holds) == (
        "RUN_OUT",
        2100,
        2100,
        [],
    )
    assert found.best == found.worst == found.outcome
    assert (found.marks, found.failure, found.cycles_low) == ([], UNSET, UNSET)


@pytest.mark.parametrize(
    ("stop", "name"), [(None, "UNEXPLAINED_STOP"), ("SUSPECT", "UNIT_SUSPECT_UNCONFIRMED")]
)
def test_an_open_stop_is_a_suspension_at_best_and_a_failure_there_at_worst(
    stop: str | None, name: str
) -> None:
    assert readings(life(stretch(500, stop=stop))) == (name, ("SUSPENDED", 500), ("FAILED", 500))


def test_an_open_stop_before_a_run_out_keeps_both_readings() -> None:
    found = life(stretch(500, stop="E17"), stretch(1600, key=2, hour=3))
    assert readings(found) == ("UNEXPLAINED_STOP", ("RUN_OUT", 2100), ("FAILED", 500))
    assert found.ending == "RUN_OUT"


def test_low_fluid_is_clean_at_best_and_a_failure_since_the_last_look_at_worst() -> None:
    known = {"low_fluid_stops": [low_fluid_stop(500, hour=5)], "inspections": [inspected(300, 2)]}
    found = life(stretch(900), **known)
    assert readings(found) == (
        "LOW_FLUID_UNINSPECTED",
        ("SUSPENDED", 900),
        ("FAILED_BETWEEN", 300),
    )
    assert (found.worst.cycles_low, found.worst.cycles_high) == (300, 500)
    dry = {**known, "inspections": [inspected(500, hour=6)]}
    assert life(stretch(900), **dry).holds == []


def test_a_removal_on_suspicion_is_suspended_at_best_and_failed_at_worst() -> None:
    found = life(stretch(500), events=[happened(500, cause="SYMPTOM")])
    assert readings(found) == ("REMOVED_ON_SUSPICION", ("SUSPENDED", 500), ("FAILED", 500))


def test_silence_is_running_at_best_and_a_failure_at_the_verified_point_at_worst() -> None:
    open_run = {"is_newest_on_station": True, "is_overdue": True}
    found = life(stretch(500, stop=None), **open_run)
    assert readings(found) == ("UNIT_OVERDUE", ("RUNNING", 500), ("FAILED", 500))
    assert "OVERDUE" in found.marks


def test_a_late_inspection_is_a_failure_at_the_last_clean_one_at_worst() -> None:
    found = life(stretch(1900), under=INSPECTED, inspections=[inspected(300)])
    assert readings(found) == ("INSPECTION_OVERDUE", ("SUSPENDED", 300), ("FAILED", 300))


def test_cycles_of_which_a_condition_is_not_recorded_count_at_best_only() -> None:
    found = life(stretch(2100, condition_absent_cycles=300))
    assert readings(found) == ("CONDITION_NOT_RECORDED", ("RUN_OUT", 2100), ("SUSPENDED", 1800))
    assert not found.worst.has_ended
    assert found.holds[0].evidence[0].cycles == 300


def test_a_run_out_that_keeps_its_count_without_those_cycles_stays_one() -> None:
    found = life(stretch(2500, condition_absent_cycles=300))
    assert readings(found)[2] == ("RUN_OUT", 2200)


def test_only_cycles_before_the_end_of_the_life_are_in_doubt() -> None:
    first = failing(904, 900, condition_absent_cycles=100)
    after = stretch(800, key=2, hour=3, condition_absent_cycles=800)
    assert readings(life(first, after))[1:] == (("FAILED", 900), ("FAILED", 800))
    clean_first = life(failing(904, 900), after)
    assert clean_first.holds == []


def test_cycles_in_doubt_are_taken_off_once_however_many_holds_there_are() -> None:
    found = life(stretch(500, stop=None, condition_absent_cycles=200))
    assert hold_names(found.holds) == ["UNEXPLAINED_STOP", "CONDITION_NOT_RECORDED"]
    assert (found.worst.ending, found.worst.credited_cycles) == ("FAILED", 300)
    failed = life(failing(904, 900, condition_absent_cycles=300))
    assert failed.worst.credited_cycles == 600


def test_a_bracket_loses_the_cycles_in_doubt_at_both_ends() -> None:
    found = life(
        stretch(400, condition_absent_cycles=400),
        stretch(600, key=2, hour=3),
        under=INSPECTED,
        inspections=[inspected(700), inspected(1000, leak_class=4)],
    )
    assert (found.cycles_low, found.cycles_high) == (700, 1000)
    assert (found.worst.cycles_low, found.worst.cycles_high) == (300, 600)


def test_conflicting_rows_take_either_reading_and_keep_the_first_received() -> None:
    stored, kind, harsh = stretch(900), stretch(902), failing(900, 700)
    where = HoldEvidence(rig_id="RIG-A", run_id="run-01", cycles=2)
    found = life(stored, kindest=[kind], harshest=[harsh], conflicts=[where])
    assert readings(found) == ("CONFLICTING_ROWS", ("SUSPENDED", 902), ("FAILED", 700))
    assert (found.ending, found.cycles) == ("SUSPENDED", 900)
    assert found.holds[0].evidence == [where]


def test_a_serial_outside_the_sample_counts_at_best_and_is_void_at_worst() -> None:
    assert readings(life(stretch(2000), listed=False)) == (
        "NOT_IN_SAMPLE",
        ("RUN_OUT", 2000),
        ("VOID", 0),
    )
    assert readings(life(failing(904, 900), listed=False))[2] == ("FAILED", 900)


def test_a_unit_with_rows_and_a_declared_life_is_held_with_either() -> None:
    found = life(stretch(1500), declared=[declared("FAILED", 1200)])
    assert readings(found) == ("LIFE_SOURCE_CONFLICT", ("SUSPENDED", 1500), ("FAILED", 1200))
    two = life(declared=[declared("RUN_OUT", 2000), declared("SUSPENDED", 900)])
    assert readings(two)[1:] == (("RUN_OUT", 2000), ("SUSPENDED", 900))
    assert two.ending == "RUN_OUT"


def test_a_declared_life_alone_is_the_life() -> None:
    found = life(declared=[declared("FAILED_BETWEEN", (500, 700))])
    assert (found.ending, found.cycles_low, found.cycles_high) == ("FAILED_BETWEEN", 500, 700)
    assert found.marks == ["FROM_LIVES_TABLE"]
    assert found.totals.counted_cycles == 700


def test_a_life_that_counter_and_clock_tell_differently_is_held() -> None:
    # By the counter the failure is cycle 110 of the run; by the clock it is the tenth cycle.
    by_counter = failing(200, 110)
    by_clock = [failing(100, 10, lap=1, is_last_lap=False), stretch(100, lap=2, hour=1)]
    found = life(by_counter, by_clock=by_clock)
    assert readings(found) == ("ORDER_AMBIGUOUS", ("FAILED", 110), ("FAILED", 10))
    whole = life(stretch(200), by_clock=[stretch(100, is_last_lap=False), stretch(100, lap=2)])
    assert whole.holds == []


def test_an_order_that_nothing_tells_is_held_where_it_changes_a_life() -> None:
    # The unit fails after 700 cycles of the second run, which began before the first had ended.
    other = stretch(1000, key=1)
    failed = failing(704, 700, key=2, hour=0.2)
    found = life(other, failed)
    assert readings(found) == ("ORDER_AMBIGUOUS", ("FAILED", 1700), ("FAILED", 700))
    assert [each.run_id for each in found.holds[0].evidence] == ["run-01", "run-02"]
    assert found.cycles == 1700


def test_an_order_that_changes_no_life_is_no_hold() -> None:
    assert life(stretch(1000, key=1), stretch(700, key=2, hour=0.2)).holds == []


def test_an_odometer_settles_the_order() -> None:
    other = stretch(1000, key=1, odometer_first=1, odometer_last=1000)
    failed = failing(704, 700, key=2, hour=0.2, odometer_first=1001, odometer_last=1704)
    assert life(other, failed).holds == []


def test_pressure_that_can_not_be_built_is_a_failure_a_rig_stop_or_a_hold() -> None:
    stopped = stretch(900, stop="SUSPECT", under_pressure_at_end=6)
    unit = life(stopped, cannot_build={1: "UNIT"})
    assert (unit.ending, unit.cycles, unit.holds) == ("FAILED", 900, [])
    assert unit.failure.seen_as == "CANNOT_BUILD"
    rig_stop = life(stopped, stretch(1100, key=2, hour=3), cannot_build={1: "RIG"})
    assert (rig_stop.ending, rig_stop.holds) == ("RUN_OUT", [])
    unclear = life(stopped, cannot_build={1: "UNCLEAR"})
    assert readings(unclear) == ("CANNOT_BUILD_UNCLEAR", ("SUSPENDED", 900), ("FAILED", 900))


@pytest.mark.parametrize(
    ("credit", "first", "expected"),
    [
        # Target 1000, planned 2000. The planned cycle itself is still part of the plan.
        ("TO_PLANNED", 2000, False),
        ("TO_PLANNED", 2001, True),
        ("ONCE_AT_TARGET", 1000, False),
        ("ONCE_AT_TARGET", 1001, True),
    ],
)
def test_a_failure_after_all_that_is_credited_is_shown_as_such(
    credit: str, first: int, expected: bool
) -> None:
    found = life(failing(first + 4, first), under=spec(plan={"credit": credit}))
    assert (found.ending, found.cycles, found.after_credit) == ("FAILED", first, expected)


def test_totals_are_over_all_rows_and_up_to_the_ending_beside_them() -> None:
    warm = stretch(100, not_counted={"MODE": 30, "UNDER_PRESSURE": 5}, missing=7)
    found = life(warm, failing(804, 800, key=2, hour=2), stretch(50, key=3, hour=9))
    assert found.totals.counted_cycles == 954
    assert found.totals.not_counted_by == {"MODE": 30, "UNDER_PRESSURE": 5}
    assert found.totals.logged_cycles == found.totals.counted_cycles + 35
    assert found.totals.unlogged_cycles == 7
    assert (found.up_to_ending.counted_cycles, found.up_to_ending.logged_cycles) == (900, 935)
    assert found.marks == ["ROWS_MISSING", "CYCLED_AFTER_FAILURE"]


def test_the_cycles_that_make_a_decay_sustained_are_no_cycling_on() -> None:
    assert life(failing(904, 900)).marks == []


def test_resets_and_wraps_are_told_apart() -> None:
    reset = [stretch(500, is_last_lap=False), stretch(9, lap=2, hour=3)]
    wrap = [stretch(500, is_last_lap=False, last_cycle_in_run=65_535), stretch(9, lap=2, hour=3)]
    assert life(*reset).marks == ["COUNTER_RESET"]
    assert life(*wrap).marks == ["COUNTER_WRAP"]


def test_every_stretch_is_a_line_with_what_came_before_it() -> None:
    lines = life(stretch(100), stretch(50, key=2, hour=2, stop="GUARD")).stretches
    assert [(line.counted_before, line.stop_class) for line in lines] == [
        (0, "OPERATOR_STOP"),
        (100, "RIG_STOP"),
    ]
    running = life(stretch(50, stop=None), is_newest_on_station=True)
    assert running.stretches[0].stop_class == "RUNNING"
    assert running.last_row_at.tzinfo is not None


def test_holds_of_one_unit_have_ids_of_their_own() -> None:
    found = life(stretch(500, stop="E17"), stretch(100, key=2, hour=3, stop="E18"))
    first, second = (hold.hold_id for hold in found.holds)
    assert first != second
    assert {name.rpartition(".")[0] for name in (first, second)} == {"unit-1.UNEXPLAINED_STOP"}
    assert found.worst.credited_cycles == 500


STOPS = st.sampled_from(["DONE", "GUARD", "SHIFT_END", "E17", "SUSPECT", None])


@settings(derandomize=True, max_examples=60)
@given(
    runs=st.lists(st.tuples(st.integers(0, 900), STOPS, st.booleans()), min_size=1, max_size=4),
    listed=st.booleans(),
    overdue=st.booleans(),
    absent=st.integers(0, 100),
)
def test_the_worst_reading_never_credits_more_and_never_forgets_a_failure(
    runs: list, listed: bool, overdue: bool, absent: int
) -> None:
    stretches = [
        failing(counted + 5, counted + 1, key=n, hour=2 * n, stop=stop)
        if fails
        else stretch(
            counted, key=n, hour=2 * n, stop=stop, condition_absent_cycles=min(absent, counted)
        )
        for n, (counted, stop, fails) in enumerate(runs)
    ]
    found = life(*stretches, listed=listed, is_overdue=overdue)
    for hold in found.holds:
        assert found.worst.credited_cycles <= hold.worst.credited_cycles or not hold.worst.failed
        assert found.worst.failed or not hold.worst.failed
    assert found.worst.credited_cycles <= found.best.credited_cycles
    assert found.worst.failed or not found.best.failed
    assert found.totals.logged_cycles == sum(s.logged_cycles for s in stretches)
