"""Specifications and rigs have the form that the service takes."""

import msgspec
import pytest

from schemas.lots import RigSettings
from schemas.specs import Spec
from service.demo.scenario import RAW_CODES, rig_settings, scaled, sensor_name, spec


@pytest.mark.parametrize(
    ("spec_id", "unit_count", "places", "allowed"),
    [("CC25-Q1", 12, 15, 0), ("CC25-Q2", 20, 20, 1)],
)
def test_a_specification_is_one_that_the_service_takes(
    spec_id: str, unit_count: int, places: int, allowed: int
) -> None:
    taken = msgspec.convert(spec(spec_id, scale=0.05), Spec)
    assert (taken.plan.unit_count, taken.plan.allowed_failures) == (unit_count, allowed)
    assert taken.plan.places == places
    assert taken.requirement[0].target_cycles == 5_000
    assert taken.plan.planned_cycles == 10_000
    assert taken.inspection_interval_cycles == 1_500


def test_consecutive_counts_and_the_block_length_do_not_shrink() -> None:
    small, full = spec("CC25-Q1", scale=0.05), spec("CC25-Q1", scale=1.0)
    assert small["failure"] == full["failure"]
    assert small["reduction"]["onset"]["block_cycles"] == 100
    assert small["reduction"]["cannot_build"] == full["reduction"]["cannot_build"]


def test_the_modes_are_the_six_of_the_scenario_and_only_a_burst_is_critical() -> None:
    modes = spec("CC25-Q1", scale=1.0)["failure"]["modes"]
    assert {mode["name"] for mode in modes if mode["critical"]} == {"PORT_BURST"}
    assert {mode["name"] for mode in modes if not mode["relevant"]} == {"GAUGE_PORT_LEAK"}
    assert len(modes) == 6


def test_every_raw_code_of_a_rig_is_mapped_and_unlike_those_of_the_others() -> None:
    for rig_id, settings in rig_settings().items():
        taken = msgspec.convert(settings, RigSettings)
        assert set(taken.stop_codes) == set(RAW_CODES[rig_id].values())
    codes = [set(codes.values()) for codes in RAW_CODES.values()]
    assert not codes[0] & codes[1] and not codes[1] & codes[2] and not codes[0] & codes[2]


def test_each_station_has_its_own_transducer() -> None:
    sensors = rig_settings()["RIG-C"]["sensors"]
    assert [sensor["sensor_id"] for sensor in sensors] == [
        sensor_name("RIG-C", number) for number in range(1, 9)
    ]


def test_a_count_of_cycles_is_never_scaled_to_nothing() -> None:
    assert (scaled(30_000, 0.05), scaled(1, 0.05)) == (1_500, 1)
