"""Inspections over HTTP."""

from typing import Any

import pytest
from answers import codes, pointers, problem
from bodies import inspection
from service_client import ServiceClient


@pytest.fixture(scope="module")
def lot_id(service: ServiceClient) -> str:
    return str(service.lot("INS-1")["lot_id"])


def test_an_inspection_is_recorded_once(service: ServiceClient, lot_id: str) -> None:
    body = inspection("i1", "INS-1", "001")
    first = service.post("/v1/inspections", body)
    assert (first.status_code, first.headers["location"]) == (201, "/v1/inspections")
    assert first.json()["inspection"] == body
    assert first.json()["recorded_by"] == "Test bench"
    again = service.post("/v1/inspections", body)
    assert (again.status_code, again.json()) == (200, first.json())
    other = service.post("/v1/inspections", {**body, "leak_class": 4})
    problem(other, 409, "conflict")
    [unit] = service.read(f"/v1/lots/{lot_id}/units")["items"]
    assert (unit["unit_serial"], unit["listed"]) == ("001", False)


def test_a_lot_that_nobody_named_is_not_made_by_an_inspection(service: ServiceClient) -> None:
    answer = service.post("/v1/inspections", inspection("i2", "INS-9", "001"))
    problem(answer, 404, "not-found")
    assert codes(answer) == ["LOT_NOT_FOUND"]
    assert "register it" in answer.json()["detail"]
    assert service.read("/v1/lots?lot_number=INS-9")["items"] == []


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"leak_class": 6}, "/leak_class"),
        ({"leak_class": "0"}, "/leak_class"),
        ({"purpose": "LATER"}, "/purpose"),
        ({"inspected_at": "2026-11-25 07:00"}, "/inspected_at"),
        ({"leak_clas": 0}, "/leak_clas"),
        ({"after": {"rig_id": "RIG-A", "run_id": "r", "cycle_in_run": -1}}, "/after/cycle_in_run"),
    ],
)
def test_a_wrong_field_is_refused_with_its_place(
    service: ServiceClient, lot_id: str, changes: dict[str, Any], pointer: str
) -> None:
    answer = service.post("/v1/inspections", {**inspection("i3", "INS-1", "001"), **changes})
    problem(answer, 400, "invalid-request")
    assert pointers(answer) == [pointer]


def test_inspections_are_listed_through_all_pages(service: ServiceClient, lot_id: str) -> None:
    service.lot("INS-2")
    for number in range(7):
        service.inspection(inspection(f"p{number}", "INS-2", "001"))
    every = service.read_all("/v1/inspections?limit=2")
    keys = [each["inspection"]["inspection_key"] for each in every]
    assert keys[-7:] == [f"p{number}" for number in range(7)]
    of_lot = service.read_all(f"/v1/inspections?lot_id={lot_id}&limit=2")
    assert [each["inspection"]["inspection_key"] for each in of_lot] == ["i1"]
