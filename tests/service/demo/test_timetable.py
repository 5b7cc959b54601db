"""Timetables that a real rig could have run."""

from itertools import pairwise

import pytest

from service.demo.facts import LotPlan, RunPlan
from service.demo.lots import DEMO_LOTS, lot, repeated
from service.demo.scenario import PERIOD_US
from service.demo.timetable import plan_lot

SCALES = (0.05, 0.3, 1.0)


@pytest.fixture(scope="module", params=SCALES)
def plans(request: pytest.FixtureRequest) -> dict[str, LotPlan]:
    return {number: plan_lot(lot(number), scale=request.param) for number in DEMO_LOTS}


def end_of(run: RunPlan) -> int:
    return run.start_us + run.row_count * PERIOD_US


def test_no_station_carries_two_units_at_once(plans: dict[str, LotPlan]) -> None:
    spans: dict[tuple[str, int], list[tuple[int, int]]] = {}
    for plan in plans.values():
        for unit in plan.units:
            for run in unit.runs:
                place = (unit.facts.rig_id, run.station_no)
                spans.setdefault(place, []).append((run.start_us, end_of(run)))
    for runs in spans.values():
        runs.sort()
        assert all(end <= start for (_, end), (start, _) in pairwise(runs))


def test_the_odometer_of_a_station_only_rises_over_all_lots(plans: dict[str, LotPlan]) -> None:
    readings: dict[tuple[str, int], list[tuple[int, int, int]]] = {}
    for plan in plans.values():
        for unit in plan.units:
            for run in unit.runs:
                last = run.odometer_before + run.row_count
                place = (unit.facts.rig_id, run.station_no)
                readings.setdefault(place, []).append((run.start_us, run.odometer_before, last))
    for runs in readings.values():
        runs.sort()
        assert all(last <= first for (_, _, last), (_, first, _) in pairwise(runs))


def test_counted_cycles_carry_on_from_run_to_run(plans: dict[str, LotPlan]) -> None:
    for plan in plans.values():
        for unit in plan.units:
            assert unit.runs[0].counted_before == 0
            for run, following in pairwise(unit.runs):
                assert run.counted_before + run.counted_cycles == following.counted_before


def test_a_run_name_is_unique_on_its_rig(plans: dict[str, LotPlan]) -> None:
    names = [
        (unit.facts.rig_id, run.run_id)
        for plan in plans.values()
        for unit in plan.units
        for run in unit.runs
    ]
    assert len(set(names)) == len(names)


def test_inspections_are_never_further_apart_than_the_interval(plans: dict[str, LotPlan]) -> None:
    for plan in plans.values():
        for unit in plan.units:
            counted = {run.run_id: run.counted_before + run.counted_cycles for run in unit.runs}
            seen = [counted[i.after.run_id] for i in unit.inspections if i.after]
            last = counted[unit.runs[-1].run_id]
            assert all(
                after - before <= 30_000 * plan.scale
                for before, after in pairwise([0, *seen, last])
            )


def test_survivors_are_inspected_at_the_target_and_at_the_end(plans: dict[str, LotPlan]) -> None:
    for plan in plans.values():
        for unit in plan.units:
            purposes = [inspection.purpose for inspection in unit.inspections]
            if unit.ending in {"RUN_OUT", "SUSPENDED"}:
                assert purposes.count("AT_TARGET") == 1
                assert purposes[-1] == "END_OF_TEST"
                assert unit.runs[-1].stop_purpose == "DONE"


def test_the_place_of_an_inspection_names_one_row_only(plans: dict[str, LotPlan]) -> None:
    # After a reset the counter must have passed the height at which it fell back.
    for plan in plans.values():
        for unit in plan.units:
            runs = {run.run_id: run for run in unit.runs}
            for inspection in unit.inspections:
                assert inspection.after is not None
                run = runs[inspection.after.run_id]
                assert inspection.after.cycle_in_run == run.row_count - run.reset_row
                assert run.row_count - run.reset_row > run.reset_row


def test_the_disturbed_lot_has_what_it_promises(plans: dict[str, LotPlan]) -> None:
    plan = plans["L06"]
    stopped = [event for event in plan.rig_events if event.kind == "STOPPED"]
    assert len(stopped) == 31
    ends = {end_of(run) for unit in plan.units for run in unit.runs if run.stop_purpose}
    for event in stopped:
        at_us = round(event.occurred_at.timestamp() * 1e6)
        # A stop falls between two cycles of each station: within a period, or the few rows
        # that a run is cut short so that none is left over.
        assert any(at_us - 41 * PERIOD_US <= end <= at_us for end in ends)
    assert sum(1 for unit in plan.units for run in unit.runs if run.reset_row) == 3


def test_after_the_low_fluid_stop_every_unit_of_the_rig_was_inspected(
    plans: dict[str, LotPlan],
) -> None:
    for unit in plans["L06"].units:
        low = [run for run in unit.runs if run.stop_purpose == "LOW"]
        assert len(low) == (1 if unit.facts.rig_id == "RIG-B" else 0)
        for run in low:
            (check,) = [i for i in unit.inspections if i.after and i.after.run_id == run.run_id]
            assert (check.purpose, check.function_check) == ("AFTER_STOP", "PASS")
            assert check.inspected_at.timestamp() * 1e6 > end_of(run)


def test_a_clock_that_was_set_back_never_reaches_behind_the_run_it_happened_in(
    plans: dict[str, LotPlan],
) -> None:
    jumped = [run for unit in plans["L06"].units for run in unit.runs if run.jump_row]
    assert len(jumped) == 6
    for run in jumped:
        assert run.jump_row * PERIOD_US + run.jump_us > PERIOD_US
        assert run.jump_row < run.row_count - 20


def test_the_lot_with_bracketed_lives_has_what_it_promises(plans: dict[str, LotPlan]) -> None:
    plan = plans["L07"]
    off = [unit for unit in plan.units if unit.unlogged_cycles]
    assert [unit.unlogged_cycles for unit in off] == [round(12_000 * plan.scale)] * 2
    assert {unit.ending for unit in off} == {"SUSPENDED"}
    # Nothing but cycles that would have counted is missing, away from the ends of a run.
    (gaps,) = {tuple(run for unit in off for run in unit.runs if run.gap_rows)}
    assert len(gaps) == 2
    for run in gaps:
        assert all(first + length <= run.gap_row for first, length in run.short_bursts)
        assert run.cold_rows < run.gap_row < run.row_count - run.gap_rows
    found = [unit.inspections[-1] for unit in plan.units if unit.ending == "FAILED_BETWEEN"]
    assert [(i.leak_class, i.failure_mode) for i in found] == [(4, "ROD_SEAL_LEAK")] * 2
    seen, put_right = plan.units[4].inspections[2:4]
    assert (seen.failure_mode, put_right.failure_mode) == ("GAUGE_PORT_LEAK", None)
    assert seen.after == put_right.after and seen.inspected_at < put_right.inspected_at
    (moved,) = [unit for unit in plan.units if len({run.station_no for run in unit.runs}) > 1]
    assert [run.station_no for run in moved.runs] == sorted(
        (run.station_no for run in moved.runs), reverse=True
    )
    assert moved.runs[-1].station_no == 1


def test_three_units_of_the_lot_with_a_wrong_sensor_ran_one_after_another(
    plans: dict[str, LotPlan],
) -> None:
    (error,) = plans["L05"].facts.sensor_errors
    at_it = [unit for unit in plans["L05"].units if unit.facts.station_no == 4]
    at_it = [unit for unit in at_it if unit.facts.rig_id == error.rig_id]
    assert len(at_it) == 3
    runs = [run for unit in at_it for run in unit.runs]
    assert all(end_of(first) < then.start_us for first, then in pairwise(runs))
    # The record speaks of this time and of no other lot.
    doubtful = (error.from_at.timestamp() * 1e6, error.found_at.timestamp() * 1e6)
    assert doubtful[0] < runs[0].start_us and end_of(runs[-1]) < doubtful[1]
    for number in {*plans} - {"L05"}:
        for unit in plans[number].units:
            for run in unit.runs:
                assert end_of(run) < doubtful[0] or run.start_us > doubtful[1]


def test_the_lot_under_way_is_the_last_one_on_every_rig(plans: dict[str, LotPlan]) -> None:
    first = min(run.start_us for unit in plans["L08"].units for run in unit.runs)
    others = [run for n, plan in plans.items() if n != "L08" for u in plan.units for run in u.runs]
    assert all(end_of(run) < first for run in others)
    for unit in plans["L08"].units:
        assert unit.runs[-1].stop_purpose is None
        assert all(run.stop_purpose for run in unit.runs[:-1])


def test_units_that_share_a_station_follow_one_another() -> None:
    plan = plan_lot(repeated(lot("L03"), 45), scale=0.05)
    spans: dict[tuple[str, int], list[tuple[int, int]]] = {}
    for unit in plan.units:
        place = (unit.facts.rig_id, unit.facts.station_no)
        spans.setdefault(place, []).extend((run.start_us, end_of(run)) for run in unit.runs)
    assert len(spans) == 20
    for runs in spans.values():
        runs.sort()
        assert all(end < start for (_, end), (start, _) in pairwise(runs))


@pytest.mark.parametrize("scale", [0.0, -1.0, 0.049, 101.0, float("nan"), float("inf")])
def test_a_scale_without_room_for_the_test_is_refused(scale: float) -> None:
    with pytest.raises(ValueError, match="scale must be between"):
        plan_lot(lot("L01"), scale=scale)
