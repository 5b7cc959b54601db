"""The page of a calibration, and the way to it from the page of a lot, with the real service."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from bodies import attribute_spec
from html_checks import addresses_in, read_page
from lots_by_hand import LOT, rows_table, run_rows
from service_client import ServiceClient, running_service

from service.sessions import SESSION_COOKIE
from service.tokens import Actor

READER = Actor(name="reader", kind="PERSON", scopes=frozenset({"lots.read"}))
RECORD = {
    "calibration_key": "K-1",
    "sensor_id": "PT-1",
    "from_at": "2026-11-01T00:00:00Z",
    "to_at": "2026-12-01T00:00:00Z",
    "gain": 1.06,
    "offset_mpa": 0.0,
    "found_at": "2026-12-01T00:00:00Z",
    "reason": "yearly check",
}


@pytest.fixture
def client(tmp_path: Path) -> Iterator[ServiceClient]:
    with running_service(tmp_path) as started:
        started.http.cookies.set(SESSION_COOKIE, started.http.app.state.sessions.open(READER))
        yield started


def told(client: ServiceClient) -> str:
    """An accepted lot of six units of 1,000 cycles on one sensor."""
    spec = attribute_spec()
    client.approved_spec(spec)
    lot_id = str(client.lot(LOT)["lot_id"])
    client.assign(lot_id, spec["spec_id"])
    rows = [
        row
        for n in range(6)
        for row in run_rows(
            f"00{n + 1}",
            f"run-{n + 1}",
            [33.25] * 1000,
            hour=n,
            sensor_id="PT-1",
            stop_reason="TARGET_REACHED",
        )
    ]
    client.upload(rows_table(rows))
    return lot_id


def page(client: ServiceClient, path: str) -> Any:
    answer = client.http.get(path)
    assert answer.status_code == 200, answer.text
    return read_page(answer.text)


def test_the_page_says_what_was_found_and_what_it_touches(client: ServiceClient) -> None:
    lot_id = told(client)
    client.decide(lot_id)
    made = client.post("/v1/calibrations", RECORD).json()
    text = page(client, f"/calibrations/{made['calibration_id']}").text()
    for words in (
        "Calibration of sensor PT-1",
        "yearly check",
        "Without the record",
        f"Lot {LOT}",
        "withdrawn: rows that it rested on were corrected later",
        "Stored energy",
    ):
        assert words.lower() in text.lower()
    assert "Danger." not in text
    lot_page = page(client, f"/lots/{lot_id}")
    assert f"/calibrations/{made['calibration_id']}" in addresses_in(lot_page)
    for words in ("Sensor found out of calibration", "gain 1.06", "withdrawn: rows"):
        assert words in lot_page.text()


def test_a_sensor_that_read_low_is_told_with_the_danger(client: ServiceClient) -> None:
    told(client)
    made = client.post("/v1/calibrations", RECORD | {"gain": 0.94}).json()
    text = page(client, f"/calibrations/{made['calibration_id']}").text()
    assert "Danger." in text
    assert "verify zero at each unit" in text
    assert "35.37" in text
    in_psi = page(client, f"/calibrations/{made['calibration_id']}?pressure_unit=psi").text()
    assert "5,130" in in_psi


def test_a_lot_whose_sensors_were_never_checked_shows_no_such_section(
    client: ServiceClient,
) -> None:
    lot_id = told(client)
    client.post("/v1/calibrations", RECORD | {"sensor_id": "PT-9"})
    assert "Calibrations of its sensors" not in page(client, f"/lots/{lot_id}").text()


def test_a_record_that_touches_nothing_says_so_and_an_unknown_one_is_not_found(
    client: ServiceClient,
) -> None:
    made = client.post("/v1/calibrations", RECORD).json()
    text = page(client, f"/calibrations/{made['calibration_id']}").text()
    assert "No row that this sensor read in that time has been received" in text
    assert client.http.get("/calibrations/cal_nowhere").status_code == 404
