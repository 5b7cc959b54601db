"""Packs of lots of every kind of history verify offline, from the rows to the verdict."""

from pathlib import Path
from typing import Any

import pytest
from bodies import failed, lives_table
from posted import post_events, tell_scenario
from scenario_files import Scenario, scenarios
from service_client import ServiceClient, running_service

from schemas.evidence_packs import PackReport
from service.workflows.verify_pack import verify_pack

_DECIDABLE = ("ACCEPT", "REJECT")
_SCENARIOS = [
    each
    for each in scenarios()
    if any(lot["verdict"] in _DECIDABLE for lot in each.expected["lots"])
]
_CLEAN = next(each for each in scenarios() if each.name == "s01_clean_accept")


def _told(client: ServiceClient, scenario: Scenario) -> dict[str, str]:
    lots = tell_scenario(client, scenario)
    for step in scenario.expected["steps"]:
        if "upload" in step:
            client.post_upload(scenario.upload(step["upload"]))
        if "post_events" in step:
            post_events(client, {kind: scenario.events[kind] for kind in step["post_events"]})
    return lots


def _report(client: ServiceClient, lot_id: str, folder: Path) -> PackReport:
    decision = client.decide(lot_id)
    content = client.get(f"/v1/decisions/{decision['decision_id']}/evidence?uploads=true").content
    path = folder / "pack.zip"
    path.write_bytes(content)
    [key] = client.read("/v1/keys")["items"]
    return verify_pack(path, key["public_key"])


def _assert_sound(report: PackReport) -> None:
    assert report.is_sound, report.difference
    assert report.checked[-1] == "rows"
    assert report.not_checked == []


@pytest.mark.parametrize("scenario", _SCENARIOS, ids=lambda each: each.name)
def test_every_decided_scenario_verifies_from_its_rows(scenario: Scenario, tmp_path: Path) -> None:
    with running_service(tmp_path / "data") as client:
        for lot_id in _told(client, scenario).values():
            if client.evaluation(lot_id)["verdict"] in _DECIDABLE:
                _assert_sound(_report(client, lot_id, tmp_path))
        assert client.read("/v1/audit-trail/verification")["is_intact"]


def _as_person(client: ServiceClient, path: str, body: dict[str, Any]) -> None:
    person = client.with_scopes(["lots.read", "holds.sign"], name="A. Tester")
    answer = person.post(path, body)
    assert answer.status_code in (200, 201), answer.text


def test_a_lot_with_a_withdrawn_file_and_corrected_serials_verifies(tmp_path: Path) -> None:
    signed = {"meaning": "set right", "reason": "the bench log says so"}
    with running_service(tmp_path / "data") as client:
        (lot_id,) = _told(client, _CLEAN).values()
        number = _CLEAN.expected["lots"][0]["lot_number"]
        wrong = client.upload(lives_table([failed(number, "A1-003", 700)]))
        assert client.evaluation(lot_id)["verdict"] == "HOLD"
        _as_person(client, f"/v1/uploads/{wrong['upload_id']}/withdrawal", signed)
        # Two units were named for each other all the time.
        for key, written, true in (("c-1", "A1-001", "A1-002"), ("c-2", "A1-002", "A1-001")):
            correction = {
                "correction_key": key,
                "written": {"lot_number": number, "unit_serial": written},
                "belongs_to": {"lot_number": number, "unit_serial": true},
                **signed,
            }
            _as_person(client, "/v1/corrections", correction)
        evaluation = client.evaluation(lot_id)
        assert evaluation["verdict"] == "ACCEPT"
        assert client.read("/v1/audit-trail/verification")["is_intact"]
        _assert_sound(_report(client, lot_id, tmp_path))


def test_a_lot_of_which_a_hold_was_signed_verifies(tmp_path: Path) -> None:
    with running_service(tmp_path / "data") as client:
        (lot_id,) = _told(client, _CLEAN).values()
        number = _CLEAN.expected["lots"][0]["lot_number"]
        client.upload(lives_table([failed(number, "A1-003", 700)]))
        person = client.with_scopes(["lots.read", "holds.sign"], name="A. Tester")
        (hold,) = client.evaluation(lot_id)["holds"]
        report = person.get(f"/v1/holds/{hold['hold_id']}")
        body = {"choice": "WORST", "meaning": "hold decided", "reason": "the table is right"}
        path = f"/v1/holds/{hold['hold_id']}/dispositions"
        person.post(path, body, **{"If-Match": report.headers["etag"]}).raise_for_status()
        _assert_sound(_report(client, lot_id, tmp_path))
