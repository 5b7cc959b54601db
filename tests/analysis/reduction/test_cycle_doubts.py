"""Holds about how a unit was tested, each with what the unit would be under both readings.

The rulings: the share of cycles under pressure is that of the logged test cycles up to the
ending; over-pressure leaves the life standing or the unit void; clipped peaks count at best
and do not at worst; a condition that was not recorded was met at best.
"""

import pytest
from msgspec import UNSET
from reduction_builders import (
    RIG,
    evidence,
    failing,
    hold_names,
    rig,
    spec,
    stretch,
)

from analysis.reduction.lives import reduce_unit
from schemas.holds import Hold
from schemas.lives import UnitLife
from schemas.specs import Spec
from schemas.stretches import CycleRange, CycleTally, StretchSummary

LIMITED = spec(
    conditions={"pressure_invalidation_mpa": 36.58},
    reduction={"under_pressure_share_max": 0.05, "clipped_cycles": 3},
)


def life(*stretches: StretchSummary, under: Spec = LIMITED, **changes: object) -> UnitLife:
    return reduce_unit(evidence(*stretches, **changes), under)


def sides(hold: Hold) -> tuple[tuple[str, int], tuple[str, int]]:
    """Ending and credit at best and at worst."""
    return (
        (hold.best.ending, hold.best.credited_cycles),
        (hold.worst.ending, hold.worst.credited_cycles),
    )


# Under pressure ------------------------------------------------------------------------------


def test_a_share_of_cycles_under_pressure_above_its_limit_leaves_the_life_or_voids_the_unit() -> (
    None
):
    found = life(stretch(2000, not_counted={"UNDER_PRESSURE": 106}, stop="DONE"))
    (hold,) = found.holds
    assert (hold.name, sides(hold)) == (
        "UNDER_PRESSURE_SHARE",
        (("RUN_OUT", 2000), ("VOID", 0)),
    )
    assert (found.best.credited_cycles, found.worst.ending) == (2000, "VOID")
    figures, where = hold.evidence
    assert (figures.quantity, figures.cycles, figures.limit) == ("under_pressure_share", 106, 0.05)
    assert figures.measured == pytest.approx(106 / 2106)
    assert (where.run_id, where.cycles) == ("run-01", 106)


def test_a_share_of_exactly_the_limit_is_not_above_it() -> None:
    # 100 of 2,000 test cycles are 5 %; 101 of 2,001 are more.
    assert life(stretch(1900, not_counted={"UNDER_PRESSURE": 100})).holds == []
    assert hold_names(life(stretch(1900, not_counted={"UNDER_PRESSURE": 101})).holds) == [
        "UNDER_PRESSURE_SHARE"
    ]


def test_cycles_outside_the_test_modes_are_no_test_cycles() -> None:
    # Warm-up cycles would make 101 of 2,001 a share below the limit.
    mixed = stretch(1900, not_counted={"UNDER_PRESSURE": 101, "MODE": 900})
    assert hold_names(life(mixed).holds) == ["UNDER_PRESSURE_SHARE"]


def test_only_cycles_up_to_the_ending_make_the_share() -> None:
    failed = failing(904, 900, up_to=CycleTally(test_cycles=900))
    after = stretch(200, key=2, hour=3, not_counted={"UNDER_PRESSURE": 300})
    assert life(failed, after).holds == []
    low_before = stretch(100, key=0, hour=-3, not_counted={"UNDER_PRESSURE": 60})
    found = life(low_before, failed, after)
    assert hold_names(found.holds) == ["UNDER_PRESSURE_SHARE"]
    assert found.holds[0].evidence[0].measured == pytest.approx(60 / 1060)
    assert [each.run_id for each in found.holds[0].evidence[1:]] == ["run-00"]


def test_a_failure_stays_one_whatever_the_pressure_was() -> None:
    low = stretch(100, key=0, hour=-3, not_counted={"UNDER_PRESSURE": 60})
    found = life(low, failing(904, 900))
    assert sides(found.holds[0]) == (("FAILED", 1000), ("FAILED", 1000))


def test_without_a_limit_no_share_asks() -> None:
    open_spec = spec()
    rows = stretch(1900, not_counted={"UNDER_PRESSURE": 900, "CONDITION_NOT_RECORDED": 900})
    assert life(rows, under=open_spec).holds == []


# Over pressure -------------------------------------------------------------------------------


def over(cycles: int, **changes: object) -> StretchSummary:
    place = CycleRange(first_cycle_in_run=40, last_cycle_in_run=60, highest_peak_mpa=37.9)
    tally = CycleTally(test_cycles=2000, invalidating_cycles=cycles)
    return stretch(2000, tally=tally, ranges={"OVER_INVALIDATION": place}, **changes)


def test_one_cycle_over_the_invalidation_limit_leaves_the_life_or_voids_the_unit() -> None:
    found = life(over(1))
    (hold,) = found.holds
    assert (hold.name, sides(hold)) == ("OVER_PRESSURE", (("RUN_OUT", 2000), ("VOID", 0)))
    (where,) = hold.evidence
    assert (where.from_cycle_in_run, where.to_cycle_in_run, where.cycles) == (40, 60, 1)
    assert (where.quantity, where.measured, where.limit) == ("pressure_peak_mpa", 37.9, 36.58)
    assert (found.ending, found.worst.has_ended) == ("RUN_OUT", True)


def test_over_pressure_after_the_failure_asks_nothing() -> None:
    assert life(failing(904, 900), over(5, key=2, hour=3)).holds == []
    assert hold_names(life(over(5), failing(904, 900, key=2, hour=3)).holds) == ["OVER_PRESSURE"]


def test_over_pressure_never_hides_a_failure() -> None:
    found = life(over(5), failing(904, 900, key=2, hour=3))
    assert (found.best.ending, found.worst.ending) == ("FAILED", "FAILED")


# Clipped peaks -------------------------------------------------------------------------------


def clipped(cycles: int, counted: int, **changes: object) -> StretchSummary:
    place = CycleRange(first_cycle_in_run=7, last_cycle_in_run=90, highest_peak_mpa=34.0)
    return stretch(
        2100,
        tally=CycleTally(test_cycles=2100, clipped_cycles=cycles),
        clipped_counted_cycles=counted,
        ranges={"FULL_SCALE": place},
        **changes,
    )


def test_peaks_at_full_scale_count_at_best_and_do_not_at_worst() -> None:
    sensors = [{"sensor_id": "S-1", "full_scale_mpa": 34.0, "station_no": 1}]
    found = life(clipped(300, 300), rigs={RIG: rig(sensors=sensors)})
    (hold,) = found.holds
    assert (hold.name, sides(hold)) == ("PEAK_CLIPPED", (("RUN_OUT", 2100), ("SUSPENDED", 1800)))
    assert (found.best.credited_cycles, found.worst.credited_cycles) == (2100, 1800)
    (where,) = hold.evidence
    assert (where.from_cycle_in_run, where.to_cycle_in_run, where.cycles) == (7, 90, 300)
    assert (where.measured, where.limit) == (34.0, 34.0)


def test_fewer_clipped_peaks_than_the_specification_names_ask_nothing() -> None:
    assert life(clipped(2, 2)).holds == []
    assert hold_names(life(clipped(3, 3)).holds) == ["PEAK_CLIPPED"]


def test_clipped_peaks_that_do_not_count_anyway_change_neither_reading() -> None:
    found = life(clipped(5, 0))
    assert sides(found.holds[0]) == (("RUN_OUT", 2100), ("RUN_OUT", 2100))


def test_clipped_cycles_and_absent_columns_are_taken_off_together() -> None:
    found = life(clipped(50, 50, condition_absent_cycles=200))
    assert hold_names(found.holds) == ["PEAK_CLIPPED", "CONDITION_NOT_RECORDED"]
    assert found.worst.credited_cycles == 2100 - 50 - 200
    every = life(clipped(2100, 2100, condition_absent_cycles=2100))
    assert every.worst.credited_cycles == 0


# Conditions that were not recorded -----------------------------------------------------------


def test_a_few_cells_that_say_nothing_cost_their_cycles_and_ask_nothing() -> None:
    found = life(stretch(1900, not_counted={"CONDITION_NOT_RECORDED": 100}))
    assert (found.cycles, found.holds) == (1900, [])


def test_many_cells_that_say_nothing_are_met_at_best_and_not_counted_at_worst() -> None:
    found = life(stretch(1900, not_counted={"CONDITION_NOT_RECORDED": 101}))
    (hold,) = found.holds
    assert (hold.name, sides(hold)) == (
        "CONDITION_NOT_RECORDED",
        (("RUN_OUT", 2001), ("SUSPENDED", 1900)),
    )
    assert (found.best.ending, found.best.has_ended) == ("RUN_OUT", True)
    assert (found.ending, found.cycles, found.worst.credited_cycles) == ("SUSPENDED", 1900, 1900)
    figures = hold.evidence[0]
    assert (figures.quantity, figures.limit) == ("not_recorded_share", 0.05)
    assert figures.measured == pytest.approx(101 / 2001)


def test_a_failure_comes_later_at_best_where_cells_say_nothing() -> None:
    silent = stretch(400, key=0, hour=-3, not_counted={"CONDITION_NOT_RECORDED": 100})
    found = life(silent, failing(904, 900))
    assert sides(found.holds[0]) == (("FAILED", 1400), ("FAILED", 1300))
    assert (found.best.cycles, found.worst.cycles) == (1400, 1300)


def test_an_absent_column_has_no_share_to_tell() -> None:
    found = life(stretch(2100, condition_absent_cycles=300))
    assert [each.quantity for each in found.holds[0].evidence] == [UNSET]


def test_an_absent_column_and_silent_cells_are_one_hold_with_both_readings() -> None:
    rows = stretch(1900, not_counted={"CONDITION_NOT_RECORDED": 200}, condition_absent_cycles=300)
    found = life(rows)
    assert hold_names(found.holds) == ["CONDITION_NOT_RECORDED"]
    assert sides(found.holds[0]) == (("RUN_OUT", 2100), ("SUSPENDED", 1600))
