"""The truth table says what a slow row-by-row reading of the written files finds."""

import json
from typing import Any

import pytest

from service.demo.bundle import LotBundle
from service.demo.lots import DEMO_LOTS


@pytest.mark.parametrize("number", DEMO_LOTS)
def test_the_truth_table_is_what_the_rows_say(
    number: str,
    demo_lots: dict[str, LotBundle],
    lives_by_hand: dict[str, dict[str, dict[str, Any]]],
) -> None:
    truth = json.loads((demo_lots[number].folder / "truth.json").read_text())
    assert len(truth["units"]) == len(lives_by_hand[number])
    for unit in truth["units"]:
        by_hand = lives_by_hand[number][unit["unit_serial"]]
        assert by_hand["logged"] == unit["logged_cycles"]
        assert by_hand["counted"] == unit["counted_cycles"]
        assert by_hand["by"] == unit["not_counted_by_first_reason"]
        expected = unit["cycles"] if unit["ending"] == "FAILED" else None
        assert by_hand["failed_at"] == expected
        assert by_hand["counted_as_corrected"] == unit.get("corrected", {}).get("counted_cycles")


@pytest.mark.parametrize("number", DEMO_LOTS)
def test_logged_is_counted_plus_not_counted_and_its_reasons_add_up(
    number: str, demo_lots: dict[str, LotBundle]
) -> None:
    truth = json.loads((demo_lots[number].folder / "truth.json").read_text())
    for unit in truth["units"]:
        assert unit["logged_cycles"] == unit["counted_cycles"] + unit["not_counted_cycles"]
        by_reason = unit["not_counted_by_first_reason"]
        assert unit["not_counted_cycles"] == sum(by_reason.values())
    assert truth["row_count"] == sum(unit["logged_cycles"] for unit in truth["units"])
    new_rows = [file["row_count"] for file in truth["uploads"] if file["kind"] == "NEW"]
    assert truth["row_count"] == sum(new_rows)


def test_lives_of_the_demo_are_the_stated_ones_at_a_twentieth(
    demo_lots: dict[str, LotBundle],
) -> None:
    # 163 619; 14 700, 33 365, 53 877 and 60 982 cycles, divided by 20 and rounded.
    def failures(number: str) -> list[int]:
        truth = json.loads((demo_lots[number].folder / "truth.json").read_text())
        return sorted(unit["cycles"] for unit in truth["units"] if unit["ending"] == "FAILED")

    assert failures("L01") == []
    assert failures("L02") == [8_181]
    assert failures("L04") == [735, 1_668, 2_694, 3_049]
    assert failures("L05") == []
    assert failures("L06") == []
    assert failures("L07") == [5_932, 8_565]
    assert failures("L08") == []


def test_a_leak_outside_is_bracketed_by_the_inspections_around_it(
    demo_lots: dict[str, LotBundle],
) -> None:
    truth = json.loads((demo_lots["L07"].folder / "truth.json").read_text())
    found = [unit for unit in truth["units"] if unit["ending"] == "FAILED_BETWEEN"]
    # Inspections at every 25,000 cycles, leaks from 137,450 and 88,200 on, all over 20.
    assert [(unit["cycles_low"], unit["cycles_high"]) for unit in found] == [
        (6_250, 7_500),
        (3_750, 5_000),
    ]
    assert [unit["true_life_cycles"] for unit in found] == [6_872, 4_410]


def test_units_that_end_well_have_exactly_their_planned_cycles(
    demo_lots: dict[str, LotBundle],
) -> None:
    for bundle in demo_lots.values():
        truth = json.loads((bundle.folder / "truth.json").read_text())
        for unit in truth["units"]:
            if unit["ending"] == "RUN_OUT":
                assert (unit["cycles"], unit["credited_cycles"]) == (10_000, 10_000)
            if unit["ending"] == "RUNNING":
                assert (unit["cycles"], unit["credited_cycles"]) == (6_030, 6_000)


def test_weak_units_are_those_of_the_named_seal_batch(demo_lots: dict[str, LotBundle]) -> None:
    truth = json.loads((demo_lots["L04"].folder / "truth.json").read_text())
    weak = {unit["ending"] for unit in truth["units"] if unit["component_batch"] == "SB-17"}
    sound = {unit["ending"] for unit in truth["units"] if unit["component_batch"] != "SB-17"}
    assert (weak, sound) == ({"FAILED"}, {"RUN_OUT"})


def test_a_failed_unit_is_tripped_by_its_rig_on_its_last_row(
    demo_lots: dict[str, LotBundle], lives_by_hand: dict[str, dict[str, dict[str, Any]]]
) -> None:
    codes = {"RIG-A": "DECAY_HIGH", "RIG-B": "S31", "RIG-C": "decay limit"}
    for number, bundle in demo_lots.items():
        for unit in bundle.plan.units:
            last = lives_by_hand[number][unit.facts.unit_serial]["last_reason"]
            assert (last == codes[unit.facts.rig_id]) == (unit.ending == "FAILED")
            assert (last is None) == (unit.ending == "RUNNING")
