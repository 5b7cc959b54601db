"""What a stop code claims, per rig."""

import pytest
from reduction_builders import rig, stretch

from analysis.reduction.stops import class_of_stretch, stop_class, supply_of


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        ("GUARD", "RIG_STOP"),
        ("LOW_OIL", "LOW_FLUID"),
        ("OPERATOR_STOP", "OPERATOR_STOP"),
        ("E17", "UNKNOWN"),
        (None, "UNKNOWN"),
    ],
)
def test_a_code_means_what_its_rig_says_and_class_names_mean_themselves(
    code: str | None, expected: str
) -> None:
    assert stop_class(code, rig()) == expected


def test_a_rigs_own_map_goes_before_the_name_of_a_class() -> None:
    assert stop_class("RIG_STOP", rig(stop_codes={"RIG_STOP": "UNIT_SUSPECT"})) == "UNIT_SUSPECT"


def test_a_rig_that_nobody_described_knows_the_class_names_only() -> None:
    assert stop_class("GUARD", None) == "UNKNOWN"
    assert class_of_stretch(stretch(10, stop="TARGET_REACHED"), {}) == "TARGET_REACHED"


@pytest.mark.parametrize(
    ("last", "expected"),
    [(500, "COUNTER_RESET"), (65_535, "COUNTER_WRAP"), (4_294_967_295, "COUNTER_WRAP")],
)
def test_a_lap_that_another_follows_did_not_stop(last: int, expected: str) -> None:
    lap = stretch(10, is_last_lap=False, last_cycle_in_run=last)
    assert class_of_stretch(lap, {}) == expected
    assert (
        class_of_stretch(stretch(10, last_cycle_in_run=last), {"RIG-A": rig()}) == "OPERATOR_STOP"
    )


def test_a_stations_supply_is_the_rigs_unless_the_rig_says_otherwise() -> None:
    settings = rig(supplies=[{"station_no": 2, "supply_id": "S-2"}])
    assert supply_of(settings, "RIG-A", 1) == ("rig", "RIG-A")
    assert supply_of(settings, "RIG-A", 2) == ("supply", "S-2")
    assert supply_of(None, "RIG-A", 2) == ("rig", "RIG-A")
