"""Rigs and their events over HTTP."""

from typing import Any

import pytest
from answers import codes, pointers, problem
from bodies import rig_event
from service_client import ServiceClient

SETTINGS: dict[str, Any] = {
    "stop_codes": {"CNT_DONE": "TARGET_REACHED", "DOOR_OPEN": "RIG_STOP"},
    "sensors": [{"sensor_id": "A-P1", "full_scale_mpa": 60.0, "station_no": 1}],
}


def test_settings_of_a_rig_are_put_and_read(service: ServiceClient) -> None:
    first = service.put("/v1/rigs/RIG-A", SETTINGS)
    assert (first.status_code, first.headers["location"]) == (201, "/v1/rigs/RIG-A")
    rig = first.json()
    assert rig["settings"]["stop_codes"] == SETTINGS["stop_codes"]
    same = service.put("/v1/rigs/RIG-A", SETTINGS)
    assert (same.status_code, same.json()) == (200, rig)
    changed = service.put("/v1/rigs/RIG-A", {"stop_codes": {}})
    assert changed.status_code == 200
    assert service.read("/v1/rigs/RIG-A") == changed.json()
    problem(service.get("/v1/rigs/RIG-Z"), 404, "not-found")


def test_a_rig_may_have_any_name(service: ServiceClient) -> None:
    answer = service.put("/v1/rigs/Rig%20No.%201", {})
    assert (answer.status_code, answer.json()["rig_id"]) == (201, "Rig No. 1")
    assert service.read(answer.headers["location"]) == answer.json()


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"stop_code": {}}, "/stop_code"),
        ({"stop_codes": {"X": "BROKEN"}}, "/stop_codes"),
        ({"sensors": [{"sensor_id": "P1", "full_scale_mpa": "60"}]}, "/sensors/0/full_scale_mpa"),
    ],
)
def test_wrong_settings_are_refused_with_their_place(
    service: ServiceClient, body: dict[str, Any], pointer: str
) -> None:
    answer = service.put("/v1/rigs/RIG-A", body)
    problem(answer, 400, "invalid-request")
    assert pointers(answer) == [pointer]


def test_rigs_are_listed_by_id_through_all_pages(service: ServiceClient) -> None:
    for number in range(6):
        service.rig(f"B-{number}", {})
    found = [rig["rig_id"] for rig in service.read_all("/v1/rigs?limit=2")]
    assert found == sorted(found)
    assert set(found) >= {f"B-{number}" for number in range(6)}
    assert len(found) == len(set(found))


def test_an_event_is_recorded_once(service: ServiceClient) -> None:
    first = service.post("/v1/rig-events", rig_event("e1"))
    assert (first.status_code, first.headers["location"]) == (201, "/v1/rig-events")
    assert first.json()["event"] == rig_event("e1")
    again = service.post("/v1/rig-events", rig_event("e1"))
    assert (again.status_code, again.json()) == (200, first.json())
    other = service.post("/v1/rig-events", rig_event("e1", raw_code="OTHER"))
    problem(other, 409, "conflict")
    assert codes(other) == ["ALREADY_EXISTS"]


def test_an_event_must_be_whole(service: ServiceClient) -> None:
    naive = service.post("/v1/rig-events", rig_event("e2", occurred_at="2026-11-25T07:00:00"))
    problem(naive, 400, "invalid-request")
    assert pointers(naive) == ["/occurred_at"]
    removal = service.post("/v1/rig-events", rig_event("e3", kind="REMOVED"))
    assert codes(removal) == ["MISSING_FIELD", "MISSING_FIELD"]
    unit = {"lot_number": "nowhere", "unit_serial": "001"}
    event = rig_event("e4", kind="REMOVED", cause="SYMPTOM", unit=unit)
    answer = service.post("/v1/rig-events", event)
    problem(answer, 404, "not-found")
    assert codes(answer) == ["LOT_NOT_FOUND"]
    problem(service.post("/v1/rig-events", [rig_event("e5")]), 400, "invalid-request")


def test_events_are_listed_through_all_pages(service: ServiceClient) -> None:
    for number in range(7):
        service.rig_event(rig_event(f"p{number}", rig_id="RIG-P"))
    found = service.read_all("/v1/rig-events?rig_id=RIG-P&limit=2")
    assert [each["event"]["event_key"] for each in found] == [f"p{n}" for n in range(7)]
    assert len(service.read_all("/v1/rig-events?limit=3")) >= 8
