"""Draws over HTTP: what is recorded, what the evaluation says of the sample, every refusal."""

from __future__ import annotations

from typing import Any

import pytest
from answers import codes, problem
from bodies import attribute_spec, lives_table, run_outs
from service_client import ServiceClient

PLAN = {
    "kind": "ATTRIBUTE",
    "unit_count": 6,
    "max_units": 7,
    "planned_cycles": 1000,
    "allowed_failures": 0,
    "overdue_hours": 48.0,
}


@pytest.fixture(scope="module", autouse=True)
def spec(service: ServiceClient) -> None:
    service.approved_spec(attribute_spec("D-1", plan=PLAN))


def new_draw(**changes: Any) -> dict[str, Any]:
    stratum = {
        "component_batch": "SEAL-7",
        "unit_count": 6,
        "spare_count": 1,
        "numbered": {"prefix": "A-", "first": 1, "last": 20, "digits": 3},
    }
    return {
        "draw_key": "draw-1",
        "strata": [stratum],
        "substitution": "NEXT_SPARE_OF_STRATUM",
        "reason": "qualification",
        "seed": "17",
        **changes,
    }


def test_a_draw_a_void_unit_and_its_spare_are_told_on_the_evaluation(
    service: ServiceClient,
) -> None:
    lot_id = service.lot("DRAW-1")["lot_id"]
    service.assign(lot_id, "D-1")
    path = f"/v1/lots/{lot_id}/draws"
    answer = service.post(path, new_draw())
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert answer.headers["location"] == f"{path}/draw-1"
    assert service.post(path, new_draw()).status_code == 200
    problem(service.post(path, new_draw(seed="18")), 409, "conflict")
    assert service.read_all(path) == [told]
    assert service.read(f"{path}/draw-1") == told
    [stratum] = told["strata"]
    listed = service.read_all(f"/v1/lots/{lot_id}/units")
    assert {unit["unit_serial"] for unit in listed if unit["listed"]} == {*stratum["drawn"]}
    void = stratum["drawn"][0]
    lives = run_outs("DRAW-1", stratum["drawn"][1:])
    lives.append({**lives[0], "unit_serial": void, "ending": "VOID", "cycles": 3})
    service.upload(lives_table(lives))
    substitutions = f"{path}/draw-1/substitutions"
    body = {"void_serial": void, "reason": "over-pressure"}
    assert service.post(substitutions, body).status_code == 201
    assert service.post(substitutions, body).status_code == 200
    sample = service.evaluation(lot_id)["sample"]
    assert sample == {
        "basis": "DRAWN",
        "drawn_count": 6,
        "substituted_count": 1,
        "tested_count": 5,
        "not_started_count": 1,
        "excluded": [
            {"unit_serial": void, "reasons": ["VOID"], "substituted_by": stratum["spares"][0]}
        ],
        "draw_keys": ["draw-1"],
    }
    page = service.get(f"/lots/{lot_id}")
    assert page.status_code == 200
    assert "Sample" in page.text


def test_a_draw_is_refused_for_every_fault(service: ServiceClient) -> None:
    lot_id = service.lot("DRAW-2")["lot_id"]
    path = f"/v1/lots/{lot_id}/draws"
    small = new_draw()
    small["strata"][0]["unit_count"] = 30
    refused = service.post(path, small)
    problem(refused, 400, "invalid-request")
    assert codes(refused) == ["POPULATION_TOO_SMALL"]
    problem(service.post(path, new_draw(seed_of_mine="1")), 400, "invalid-request")
    problem(service.get(f"{path}/none"), 404, "not-found")
    reader = service.with_scopes(["lots.read"], name="Reader")
    problem(reader.post(path, new_draw()), 403, "not-allowed")
    service.post(path, new_draw(substitution="NO_SUBSTITUTION")).raise_for_status()
    [stratum] = service.read(f"{path}/draw-1")["strata"]
    body = {"void_serial": stratum["drawn"][0], "reason": "dropped"}
    refused = service.post(f"{path}/draw-1/substitutions", body)
    assert codes(refused) == ["NO_SUBSTITUTION"]
