"""Limits of a specification as parameters of stage one."""

import pytest
from reduction_builders import BURST, DECAY, rig, spec

from analysis.reduction.rules import (
    EDGE_SLACK,
    full_scale_mpa,
    mode_parameters,
    stage_one_parameters,
    streak_text_name,
)


def test_limits_are_widened_by_less_than_any_display_shows() -> None:
    given = stage_one_parameters(spec(), 60.0)
    assert given["upper_mpa"] == pytest.approx(34.91, abs=1e-5)
    assert given["upper_mpa"] > 34.91
    assert given["lower_mpa"] == pytest.approx(31.59, abs=1e-5)
    assert given["lower_mpa"] < 31.59
    assert given["rise_max_s"] == pytest.approx(0.4 + EDGE_SLACK)
    assert given["dwell_min_s"] == pytest.approx(1.5 * (1 - EDGE_SLACK))


def test_a_difference_of_two_pressures_carries_the_slack_of_both() -> None:
    given = stage_one_parameters(spec(), None)
    assert given["decay_limit_mpa"] == pytest.approx(0.6 + 2 * EDGE_SLACK * 34.91, abs=1e-12)


def test_a_limit_that_is_not_stated_can_not_be_missed() -> None:
    bare = spec(
        conditions={"pressure_low_max_mpa": None, "rise_time_max_s": None, "dwell_time_min_s": None}
    )
    given = stage_one_parameters(bare, None)
    for name in ("low_max_mpa", "rise_max_s", "rise_min_s", "dwell_min_s", "no_reading_above_mpa"):
        assert given[name] is None
    assert not (given["needs_low"] or given["needs_rise"] or given["needs_dwell"])
    assert given["needs_temperature"]


def test_pressure_decay_is_needed_only_where_a_relevant_mode_shows_in_it() -> None:
    assert stage_one_parameters(spec(DECAY), None)["needs_decay"]
    assert not stage_one_parameters(spec(DECAY | {"relevant": False}, BURST), None)["needs_decay"]
    assert not stage_one_parameters(spec(BURST), None)["needs_decay"]


def test_no_reading_begins_at_one_and_a_half_times_full_scale() -> None:
    assert stage_one_parameters(spec(), 60.0)["no_reading_above_mpa"] == 90.0


def test_the_smallest_full_scale_of_a_stations_sensors_holds() -> None:
    anywhere = {"sensor_id": "P9", "full_scale_mpa": 100.0}
    own = [{"sensor_id": f"P{n}", "full_scale_mpa": 60.0 + n, "station_no": 1} for n in (1, 2)]
    settings = rig(sensors=[anywhere, *own])
    assert full_scale_mpa(settings, 1) == 61.0
    assert full_scale_mpa(settings, 2) == 100.0
    assert full_scale_mpa(rig(), 1) is None


def test_unused_places_for_modes_name_no_text() -> None:
    assert mode_parameters([4, 9]) == {"mode_1": 4, "mode_2": 9, "mode_3": -1, "mode_4": -1}


def test_the_streak_text_follows_the_persistence() -> None:
    assert streak_text_name(spec()) == "streaks_consecutive"
    assert streak_text_name(spec(rule="MOVING_AVERAGE")) == "streaks_moving_average"
    assert streak_text_name(spec(BURST, failure={"decay_limit_mpa": None})) is None
    assert streak_text_name(spec(BURST, failure={"persistence": None})) is None
