"""Who is to blame when no pressure comes up."""

import pytest
from reduction_builders import RIG, rig, spec, stretch

from analysis.reduction.cannot_build import cannot_build_causes
from schemas.stretches import StretchSummary

LIMITS = spec().reduction.cannot_build
# 906 cycles of 2.5 s from the first start: the stop is at about 0.628 h.
SUSPECT = stretch(
    900,
    key=1,
    not_counted={"UNDER_PRESSURE": 6},
    under_pressure_at_end=6,
    last_cycle_counted=False,
    supply_at_end_mpa=38.0,
)


def cause(*others: StretchSummary, of: StretchSummary = SUSPECT, **changes: object) -> str | None:
    given = {"still_open": set(), "rigs": {RIG: rig()}, "limits": LIMITS} | changes
    return cannot_build_causes([of, *others], **given).get(of.stretch_key)


def beside(counted: int, **changes: object) -> StretchSummary:
    return stretch(counted, **({"key": 2, "station": 2} | changes))


def failing_beside(**changes: object) -> StretchSummary:
    fields = {
        "not_counted": {"UNDER_PRESSURE": 6},
        "under_pressure_at_end": 6,
        "last_cycle_counted": False,
    }
    return beside(900, **(fields | changes))


def test_with_a_neighbour_that_ran_on_it_was_the_unit() -> None:
    assert cause(beside(2000)) == "UNIT"


def test_a_neighbour_that_counted_within_the_minute_before_is_enough() -> None:
    assert cause(beside(895)) == "UNIT"
    assert cause(beside(800)) == "UNCLEAR"
    assert cause(beside(895, last_cycle_counted=False)) == "UNCLEAR"


def test_alone_on_its_supply_nobody_can_tell() -> None:
    assert cause() == "UNCLEAR"
    assert cause(beside(2000, rig_id="RIG-B")) == "UNCLEAR"
    assert cause(beside(2000, hour=5)) == "UNCLEAR"
    assert cause(beside(0, not_counted={"MODE": 2000})) == "UNCLEAR"


def test_two_stations_within_the_window_are_the_rig() -> None:
    running_on = beside(2000, key=3, station=3)
    assert cause(failing_beside(), running_on) == "RIG"
    assert cause(failing_beside(hour=60 / 3600), running_on) == "RIG"
    assert cause(failing_beside(hour=61 / 3600), running_on) == "UNIT"


def test_another_supply_of_the_same_rig_is_no_witness() -> None:
    apart = {RIG: rig(supplies=[{"station_no": 2, "supply_id": "S-2"}])}
    assert cause(beside(2000), rigs=apart) == "UNCLEAR"
    assert cause(failing_beside(), rigs=apart) == "UNCLEAR"


@pytest.mark.parametrize(
    ("supply", "expected"), [(36.0, "UNIT"), (35.9, "UNCLEAR"), (None, "UNIT")]
)
def test_a_supply_out_of_range_does_not_speak_against_the_unit(
    supply: float | None, expected: str
) -> None:
    stopped = stretch(900, under_pressure_at_end=6, supply_at_end_mpa=supply)
    assert cause(beside(2000), of=stopped) == expected


def test_fewer_attempts_than_the_limit_say_nothing() -> None:
    assert cause(beside(2000), of=stretch(900, under_pressure_at_end=4)) is None
    assert cause(beside(2000), of=stretch(900, under_pressure_at_end=5)) == "UNIT"


def test_without_the_setting_nothing_is_looked_for() -> None:
    assert cause(beside(2000), limits=None) is None


def test_a_run_that_goes_on_has_not_failed_but_bears_witness() -> None:
    assert cause(beside(2000), still_open={1}) is None
    assert cause(failing_beside(), still_open={2}) == "RIG"


def test_a_lap_that_another_follows_is_no_stop() -> None:
    lap = stretch(900, under_pressure_at_end=6, is_last_lap=False)
    assert cause(beside(2000), of=lap) is None
