"""Raw rows to verdict through HTTP, for lots whose lives are known from elsewhere."""

from pathlib import Path
from typing import Any

import pytest
from posted import lives_of, post_events, tell_scenario
from scenario_files import Scenario, scenarios
from service_client import ServiceClient, running_service

_SCENARIOS = scenarios()
_FIGURES_REL = 1e-9


def _post_all(client: ServiceClient, scenario: Scenario) -> dict[str, str]:
    """Tell the service what it must know, then take the scenario's steps; lot ids by number."""
    lots = tell_scenario(client, scenario)
    for step in scenario.expected["steps"]:
        _take(client, scenario, step)
    return lots


def _take(client: ServiceClient, scenario: Scenario, step: dict[str, Any]) -> None:
    if "upload" in step:
        answer = client.post_upload(scenario.upload(step["upload"]))
        expected_status = {"STORED": 201, "REPEAT": 200, "REFUSED": 400}[step["expect"]]
        assert answer.status_code == expected_status, answer.text
        if step["expect"] == "REFUSED":
            error = answer.json()["errors"][0]
            assert error["code"] == step["code"]
            assert error.get("column") == step.get("column")
        for tally, count in step.get("tally", {}).items():
            assert answer.json()[tally] == count
    if "post_events" in step:
        post_events(client, {kind: scenario.events[kind] for kind in step["post_events"]})


def _check_unit(life: dict[str, Any], expected: dict[str, Any]) -> None:
    where = f"{expected['lot_number']} {expected['unit_serial']}"
    assert life["ending"] == expected["ending"], where
    totals = life["totals"]
    for name in ("logged_cycles", "counted_cycles", "not_counted_cycles", "unlogged_cycles"):
        assert totals[name] == expected[name], f"{where} {name}"
    # The scenarios list every reason of a cycle; the first ones must add up besides.
    assert totals["not_counted_by_every"] == expected["not_counted_by"], where
    assert sum(totals["not_counted_by"].values()) == totals["not_counted_cycles"], where
    for name in ("cycles", "cycles_low", "cycles_high"):
        assert life.get(name) == expected.get(name), f"{where} {name}"
    assert life["credited_cycles"] == expected["credited_cycles"], where
    if "up_to_ending" in expected:
        assert life["up_to_ending"] == expected["up_to_ending"], where
    for mark in expected.get("marks", []):
        assert mark in life["marks"], where


def _check_lot(evaluation: dict[str, Any], expected: dict[str, Any]) -> None:
    assert evaluation["verdict"] == expected["verdict"]
    assert evaluation.get("kind") == expected.get("kind")
    codes = [reason["code"] for reason in evaluation["reasons"]]
    assert codes == expected["reasons"]
    held = {(hold["name"], hold.get("unit_serial")) for hold in evaluation["holds"]}
    must = {(hold["name"], hold.get("unit_serial")) for hold in expected["holds_must"]}
    may = {(hold["name"], hold.get("unit_serial")) for hold in expected.get("holds_may", [])}
    assert must <= held <= must | may


def _check_figures(requirement: dict[str, Any], expected: dict[str, Any]) -> None:
    views = {
        "variables": requirement.get("variables"),
        "attribute_at_target": requirement["attribute_at_target"],
        "attribute_at_planned": requirement.get("attribute_at_planned"),
    }
    for view, figures in expected.items():
        answered = views[view]
        assert answered is not None, view
        for name, value in figures.items():
            given = answered.get(
                "reliability_required" if name == "reliability_required_at_planned" else name
            )
            assert given == pytest.approx(value, rel=_FIGURES_REL), f"{view} {name}"


@pytest.mark.parametrize("scenario", _SCENARIOS, ids=[each.name for each in _SCENARIOS])
def test_a_scenario_gives_the_known_lives_and_verdict(scenario: Scenario, tmp_path: Path) -> None:
    with running_service(tmp_path) as client:
        lots = _post_all(client, scenario)
        lives = {
            (life["lot_number"], life["unit_serial"]): life
            for lot_id in lots.values()
            for life in lives_of(client, lot_id)
        }
        for expected in scenario.expected["units"]:
            _check_unit(lives[expected["lot_number"], expected["unit_serial"]], expected)
        for expected in scenario.expected["lots"]:
            evaluation = client.evaluation(lots[expected["lot_number"]])
            _check_lot(evaluation, expected)
            figures = expected.get("statistics_as_reduced")
            if figures:
                _check_figures(evaluation["requirements"][0], figures)
