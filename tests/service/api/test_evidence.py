"""A recorded verdict's pack over HTTP verifies offline with the public key of the service."""

from pathlib import Path

import pytest
from answers import problem
from bodies import attribute_spec, lives_table, run_outs
from service_client import ServiceClient

from service.workflows.verify_pack import verify_pack

SERIALS = [f"{number:03}" for number in range(1, 7)]


@pytest.fixture(scope="module")
def decision_id(service: ServiceClient) -> str:
    service.approved_spec(attribute_spec("EV-1"))
    lot_id = service.lot("EVID-1")["lot_id"]
    service.sample(lot_id, SERIALS)
    service.assign(lot_id, "EV-1")
    service.upload(lives_table(run_outs("EVID-1", SERIALS)))
    return str(service.decide(lot_id)["decision_id"])


@pytest.mark.parametrize("query", ["", "?uploads=true"])
def test_the_pack_of_a_decision_verifies_offline(
    service: ServiceClient, decision_id: str, query: str, tmp_path: Path
) -> None:
    answer = service.get(f"/v1/decisions/{decision_id}/evidence{query}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/zip"
    assert f'filename="{decision_id}.zip"' in answer.headers["content-disposition"]
    path = tmp_path / "pack.zip"
    path.write_bytes(answer.content)
    [key] = service.read("/v1/keys")["items"]
    report = verify_pack(path, key["public_key"])
    assert report.is_sound and report.key_is_known, report.difference
    assert report.signed_with == key["key_id"]
    assert bool(report.not_checked) is (query == "")
    # Nothing is left behind in the spool.
    assert [*(service.data_directory / "spool").iterdir()] == []


def test_facts_that_come_later_do_not_change_a_pack(
    service: ServiceClient, decision_id: str
) -> None:
    before = service.get(f"/v1/decisions/{decision_id}/evidence").content
    service.upload(lives_table(run_outs("EVID-1", ["007"])))
    after = service.get(f"/v1/decisions/{decision_id}/evidence").content
    # Only the end of the audit trail has moved on.
    assert len(before) == pytest.approx(len(after), abs=20)


def test_evidence_of_nothing_is_not_found(service: ServiceClient) -> None:
    problem(service.get("/v1/decisions/dec_nowhere/evidence"), 404, "not-found")
