"""Calibrations over HTTP."""

from typing import Any

import pytest
from answers import codes, pointers, problem
from service_client import ServiceClient


def calibration(key: str, **changes: Any) -> dict[str, Any]:
    """A check that found the sensor to read 6 % high over three months."""
    return {
        "calibration_key": key,
        "sensor_id": "PT-B4",
        "from_at": "2026-06-01T00:00:00Z",
        "to_at": "2026-09-01T00:00:00Z",
        "gain": 1.06,
        "offset_mpa": 0.0,
        "found_at": "2026-09-01T09:00:00Z",
        "reason": "yearly check",
        **changes,
    }


def test_a_calibration_is_recorded_once(service: ServiceClient) -> None:
    body = calibration("c1", pressure_uncertainty_mpa=0.12, note="reference 7")
    first = service.post("/v1/calibrations", body)
    assert first.status_code == 201, first.text
    made = first.json()
    assert first.headers["location"] == f"/v1/calibrations/{made['calibration_id']}"
    assert made["calibration"] == body
    assert (made["recorded_by"], made["lots"], made["notices"]) == ("Test bench", [], [])
    again = service.post("/v1/calibrations", body)
    assert (again.status_code, again.json()) == (200, made)
    problem(service.post("/v1/calibrations", body | {"gain": 1.05}), 409, "conflict")
    assert service.read(f"/v1/calibrations/{made['calibration_id']}") == made


def test_a_calibration_that_nobody_recorded_is_not_found(service: ServiceClient) -> None:
    problem(service.get("/v1/calibrations/cal_nowhere"), 404, "not-found")


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"gain": 0.0}, "/gain"),
        ({"gain": -1.06}, "/gain"),
        ({"gain": 106}, "/gain"),
        ({"offset_mpa": 500.0}, "/offset_mpa"),
        ({"pressure_uncertainty_mpa": 0.0}, "/pressure_uncertainty_mpa"),
        ({"from_at": "2026-06-01 00:00"}, "/from_at"),
        ({"reason": "  "}, "/reason"),
        ({"gian": 1.0}, "/gian"),
        ({"to_at": "2026-06-01T00:00:00Z"}, "/to_at"),
        ({"to_at": "2026-06-01T01:00:00+02:00"}, "/to_at"),
        ({"from_at": "1926-06-01T00:00:00Z"}, "/from_at"),
        ({"found_at": "3026-09-01T09:00:00Z"}, "/found_at"),
    ],
)
def test_a_wrong_field_is_refused_with_its_place(
    service: ServiceClient, changes: dict[str, Any], pointer: str
) -> None:
    answer = service.post("/v1/calibrations", calibration("c2", **changes))
    problem(answer, 400, "invalid-request")
    assert pointers(answer) == [pointer]


def test_a_time_that_is_empty_is_refused_by_name(service: ServiceClient) -> None:
    body = calibration("c3", to_at="2026-05-01T00:00:00Z")
    assert codes(service.post("/v1/calibrations", body)) == ["EMPTY_PERIOD"]


def test_recording_needs_the_scope_of_results_and_reading_that_of_lots(
    service: ServiceClient,
) -> None:
    reader = service.with_scopes(["lots.read"])
    problem(reader.post("/v1/calibrations", calibration("c4")), 403, "not-allowed")
    assert reader.get("/v1/calibrations").status_code == 200


def test_calibrations_are_listed_through_all_pages(service: ServiceClient) -> None:
    for number in range(7):
        body = calibration(f"p{number}", sensor_id=f"PT-{number % 2}", gain=1.0)
        assert service.post("/v1/calibrations", body).status_code == 201
    every = service.read_all("/v1/calibrations?limit=3")
    keys = [each["calibration"]["calibration_key"] for each in every]
    assert keys[-7:] == [f"p{number}" for number in range(7)]
    of_sensor = service.read_all("/v1/calibrations?sensor_id=PT-1&limit=2")
    assert [each["calibration"]["calibration_key"] for each in of_sensor] == ["p1", "p3", "p5"]


def test_records_that_overlap_name_each_other(service: ServiceClient) -> None:
    def record(key: str, first: str, last: str) -> Any:
        body = calibration(key, sensor_id="PT-O", from_at=first, to_at=last, gain=1.0)
        return service.post("/v1/calibrations", body).json()

    first = record("o1", "2026-01-01T00:00:00Z", "2026-03-01T00:00:00Z")
    second = record("o2", "2026-02-01T00:00:00Z", "2026-04-01T00:00:00Z")
    third = record("o3", "2026-04-01T00:00:00Z", "2026-05-01T00:00:00Z")
    assert second["supersedes"] == [first["calibration_id"]]
    assert (third["supersedes"], third["superseded_by"]) == ([], [])
    again = service.read(f"/v1/calibrations/{first['calibration_id']}")
    assert again["superseded_by"] == [second["calibration_id"]]
