"""Looking at a verdict: tagged, repeatable, never recorded."""

import pytest
from answers import problem
from bodies import attribute_spec, failed, lives_table, run_outs
from service_client import ServiceClient

SERIALS = [f"{number:03}" for number in range(1, 7)]


@pytest.fixture(scope="module")
def lot_id(service: ServiceClient) -> str:
    """A registered lot with a sample of six and an approved specification."""
    service.approved_spec(attribute_spec("E-1"))
    service.approved_spec(attribute_spec("E-2", plan={**attribute_spec()["plan"], "unit_count": 7}))
    found = service.lot("EVAL-1")["lot_id"]
    service.sample(found, SERIALS)
    service.assign(found, "E-1")
    return str(found)


def test_a_verdict_follows_the_lives_and_keeps_its_tag_until_they_change(
    service: ServiceClient, lot_id: str
) -> None:
    path = f"/v1/lots/{lot_id}/evaluation"
    before = service.get(path)
    assert before.json()["verdict"] == "CONTINUE"
    assert before.json()["reasons"] == [{"code": "NO_DATA"}]
    tag = before.headers["etag"]
    assert tag == f'"{before.json()["provenance"]["evaluation_key"]}"'
    same = service.get(path, **{"If-None-Match": tag})
    assert (same.status_code, same.content, same.headers["etag"]) == (304, b"", tag)
    service.upload(lives_table(run_outs("EVAL-1", SERIALS)))
    after = service.get(path, **{"If-None-Match": tag})
    assert after.status_code == 200
    assert after.json()["verdict"] == "ACCEPT"
    assert after.headers["etag"] != tag
    assert service.get(path).content == after.content
    # Six units without a failure show 0.12**(1/6) with 88 %, by hand.
    [requirement] = after.json()["requirements"]
    shown = requirement["attribute_at_target"]["reliability_lower_of_decided"]
    assert shown == pytest.approx(0.12 ** (1 / 6), rel=1e-12)


def test_another_specification_is_a_what_if(service: ServiceClient, lot_id: str) -> None:
    own = service.evaluation(lot_id)
    other = service.evaluation(lot_id, "E-2")
    assert (own.get("what_if", False), other["what_if"]) == (False, True)
    assert (other["spec"]["spec_id"], other["spec"]["version"]) == ("E-2", 1)
    assert other["provenance"]["evaluation_key"] != own["provenance"]["evaluation_key"]
    assert service.evaluation(lot_id, "E-2:1") == other
    problem(service.get(f"/v1/lots/{lot_id}/evaluation?spec=E-9"), 404, "not-found")
    problem(service.get(f"/v1/lots/{lot_id}/evaluation?spec=E-2:9"), 404, "not-found")
    problem(service.get(f"/v1/lots/{lot_id}/evaluation?spec="), 400, "invalid-request")
    assert service.evaluation(lot_id) == own


def test_a_lot_without_a_specification_is_held(service: ServiceClient) -> None:
    service.upload(lives_table(run_outs("EVAL-2", ["001"])))
    [lot] = service.read("/v1/lots?lot_number=EVAL-2")["items"]
    evaluation = service.evaluation(lot["lot_id"])
    assert evaluation["verdict"] == "HOLD"
    assert "NO_SPEC" in [reason["code"] for reason in evaluation["reasons"]]


def test_holds_are_listed_page_by_page(service: ServiceClient) -> None:
    # A second life of a unit is a question that no rule decides.
    lot_id = service.lot("EVAL-3")["lot_id"]
    service.sample(lot_id, SERIALS)
    service.assign(lot_id, "E-1")
    service.upload(lives_table(run_outs("EVAL-3", SERIALS)))
    service.upload(lives_table([failed("EVAL-3", serial, 500) for serial in SERIALS[:3]]))
    found = service.read_all(f"/v1/lots/{lot_id}/holds?limit=1")
    assert [hold["unit_serial"] for hold in found] == SERIALS[:3]
    assert {hold["name"] for hold in found} == {"LIFE_SOURCE_CONFLICT"}
    assert found == service.evaluation(lot_id)["holds"]
