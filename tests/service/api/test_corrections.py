"""Withdrawals and corrections over HTTP: who may sign, what is told, and every refusal."""

from __future__ import annotations

from typing import Any

import pytest
from answers import codes, problem
from bodies import attribute_spec, cycle_rows, cycle_table, failed, lives_table, run_outs
from service_client import ServiceClient

SERIALS = [f"{number:03}" for number in range(1, 7)]
SIGNED = {"meaning": "withdrawn", "reason": "the gateway sent another bench's table"}


@pytest.fixture(scope="module", autouse=True)
def spec(service: ServiceClient) -> None:
    service.approved_spec(attribute_spec("C-1"))


@pytest.fixture(scope="module")
def person(service: ServiceClient) -> ServiceClient:
    return service.with_scopes(["lots.read", "holds.sign"], name="A. Tester")


def accepted_lot(service: ServiceClient, lot_number: str) -> tuple[str, list[str]]:
    """Six run-outs in two uploads that share one, accepted; ids of lot and uploads."""
    lot_id = service.lot(lot_number)["lot_id"]
    service.sample(lot_id, SERIALS)
    service.assign(lot_id, "C-1")
    uploads = [
        service.upload(lives_table(run_outs(lot_number, part)))["upload_id"]
        for part in (SERIALS[:4], SERIALS[3:])
    ]
    assert service.decide(lot_id)["verdict"] == "ACCEPT"
    return lot_id, uploads


def correction(key: str, lot_number: str, written: str, belongs_to: str) -> dict[str, Any]:
    return {
        "correction_key": key,
        "written": {"lot_number": lot_number, "unit_serial": written},
        "belongs_to": {"lot_number": lot_number, "unit_serial": belongs_to},
        "meaning": "serial corrected",
        "reason": "the label was read again",
    }


def test_a_withdrawal_tells_the_verdict_before_and_after_and_marks_the_accept(
    service: ServiceClient, person: ServiceClient
) -> None:
    lot_id, uploads = accepted_lot(service, "COR-1")
    [decision] = service.read_all(f"/v1/lots/{lot_id}/decisions")
    path = f"/v1/uploads/{uploads[0]}/withdrawal"
    problem(service.get(path), 404, "not-found")
    answer = person.post(path, SIGNED)
    assert answer.status_code == 201, answer.text
    assert answer.headers["location"] == path
    told = answer.json()
    assert (told["withdrawn_by"], told["actor_kind"]) == ("A. Tester", "PERSON")
    [lot] = told["lots"]
    assert (lot["before"]["verdict"], lot["after"]["verdict"]) == ("ACCEPT", "CONTINUE")
    # The fourth unit came in the other upload too, and goes on counting.
    assert [unit["unit_serial"] for unit in lot["units"]] == SERIALS[:4]
    endings = [unit["after"]["ending"] for unit in lot["units"]]
    assert endings == ["RUNNING"] * 3 + ["RUN_OUT"]
    assert lot["decisions_withdrawn"] == [decision["decision_id"]]
    now = service.read(f"/v1/decisions/{decision['decision_id']}")
    assert now["marks"] == ["WITHDRAWN_BY_CORRECTION"]
    assert [by["record_id"] for by in now["withdrawn_by"]] == [uploads[0]]
    assert {**now, "verdict": "ACCEPT"} == now
    assert service.read(path) == told
    assert service.evaluation(lot_id)["verdict"] == "CONTINUE"
    repeat = person.post(path, SIGNED)
    assert (repeat.status_code, repeat.json()) == (200, told)
    problem(person.post(path, {**SIGNED, "reason": "another"}), 409, "conflict")


def test_a_withdrawn_upload_is_shown_so_everywhere(
    service: ServiceClient, person: ServiceClient
) -> None:
    lot_id = service.lot("COR-2")["lot_id"]
    table = cycle_table(cycle_rows("COR-2", "001", "run-1", [33.0, 20.0, 33.0]))
    receipt = service.upload(table)
    kept = service.upload(cycle_table(cycle_rows("COR-2", "001", "run-1", [33.0, 20.0])))
    assert kept["duplicate_rows"] == 2
    person.post(f"/v1/uploads/{receipt['upload_id']}/withdrawal", SIGNED).raise_for_status()
    marked = service.read(f"/v1/uploads/{receipt['upload_id']}")
    mark = marked.pop("withdrawn")
    assert marked == receipt
    assert (mark["withdrawn_by"], mark["reason"]) == ("A. Tester", SIGNED["reason"])
    listed = service.read_all(f"/v1/lots/{lot_id}/uploads")
    assert [each.get("withdrawn") for each in listed] == [mark, None]
    findings = service.read(f"/v1/uploads/{receipt['upload_id']}/findings")
    assert (findings["row_count"], findings["withdrawn_rows"]) == (3, 3)
    [unit] = service.read_all(f"/v1/lots/{lot_id}/units")
    cycles = service.read_all(f"/v1/units/{unit['unit_id']}/cycles")
    assert [cycle["upload_id"] for cycle in cycles] == [kept["upload_id"]] * 2
    assert service.read(f"/v1/units/{unit['unit_id']}")["changes"] == [
        {
            "kind": "UPLOAD_WITHDRAWN",
            "record_id": receipt["upload_id"],
            "recorded_at": mark["withdrawn_at"],
        }
    ]
    again = service.post_upload(table)
    problem(again, 409, "conflict")
    assert codes(again) == ["UPLOAD_WITHDRAWN"]
    assert "A. Tester" in again.json()["detail"]


def test_a_correction_moves_a_failure_to_the_unit_that_failed(
    service: ServiceClient, person: ServiceClient
) -> None:
    lot_id = service.lot("COR-3")["lot_id"]
    service.sample(lot_id, SERIALS)
    service.assign(lot_id, "C-1")
    service.upload(lives_table(run_outs("COR-3", SERIALS[1:])))
    service.upload(lives_table([failed("COR-3", "OO1", 500)]))
    body = correction("COR-3-1", "COR-3", "OO1", "001")
    answer = person.post("/v1/corrections", body)
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert answer.headers["location"] == "/v1/corrections/COR-3-1"
    [lot] = told["lots"]
    assert lot["after"]["verdict"] == "REJECT"
    # A serial outside the sample was held; the unit that it belongs to is listed.
    holds_before_and_after = [lot[when]["open_hold_count"] for when in ("before", "after")]
    assert holds_before_and_after == [1, 0]
    assert [unit["unit_serial"] for unit in lot["units"]] == ["001", "OO1"]
    assert service.read("/v1/corrections/COR-3-1") == told
    assert service.read_all(f"/v1/corrections?lot_id={lot_id}") == [told]
    old = next(unit for unit in lot["units"] if unit["unit_serial"] == "OO1")
    assert "after" not in old
    shown = service.read(f"/v1/units/{old['unit_id']}")
    assert [change["kind"] for change in shown["changes"]] == ["SERIAL_CORRECTED"]
    problem(service.get(f"/v1/units/{old['unit_id']}/life"), 404, "not-found")
    assert person.post("/v1/corrections", body).status_code == 200
    other = correction("COR-3-1", "COR-3", "OO1", "002")
    problem(person.post("/v1/corrections", other), 409, "conflict")


def test_neither_is_for_a_program_or_a_posting_token(
    service: ServiceClient, person: ServiceClient
) -> None:
    _, uploads = accepted_lot(service, "COR-4")
    path = f"/v1/uploads/{uploads[0]}/withdrawal"
    body = correction("COR-4-1", "COR-4", "001", "002")
    gateway = service.with_scopes(["results.write", "lots.read"], name="Gateway")
    for client in (service, gateway):
        problem(client.post(path, SIGNED), 403, "not-allowed")
        problem(client.post("/v1/corrections", body), 403, "not-allowed")
    problem(person.post("/v1/uploads/up_none/withdrawal", SIGNED), 404, "not-found")
    nothing = person.post("/v1/corrections", correction("COR-4-2", "COR-4", "099", "001"))
    assert codes(nothing) == ["NOTHING_TO_CORRECT"]
    no_lot = person.post("/v1/corrections", correction("COR-4-3", "COR-44", "001", "002"))
    assert codes(no_lot) == ["LOT_NOT_FOUND"]
    half = correction("COR-4-4", "COR-4", "001", "002")
    del half["belongs_to"]["unit_serial"]
    problem(person.post("/v1/corrections", half), 400, "invalid-request")
