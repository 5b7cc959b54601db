"""Specifications over HTTP: drafted, replaced, deleted, approved, superseded."""

from typing import Any

import pytest
from answers import codes, pointers, problem
from bodies import attribute_spec
from service_client import ServiceClient

APPROVAL = {"meaning": "approved for test", "reason": "reviewed"}


def versions(spec_id: str, version: int | None = None, what: str = "") -> str:
    place = f"/v1/specs/{spec_id}/versions"
    return place if version is None else f"{place}/{version}{what}"


def test_a_draft_is_created_once(service: ServiceClient) -> None:
    first = service.post("/v1/specs", attribute_spec("S-1"))
    assert first.status_code == 201
    assert first.headers["location"] == "/v1/specs/S-1/versions/1"
    body = first.json()
    assert (body["version"], body["state"], body["created_by"]) == (1, "DRAFT", "Test bench")
    assert body["hash"].startswith("sha256:")
    again = service.post("/v1/specs", attribute_spec("S-1"))
    assert (again.status_code, again.json()) == (200, body)
    read = service.get(first.headers["location"])
    assert read.json() == body
    assert read.headers["etag"] == f'"{body["hash"]}"'


def test_other_content_under_the_same_id_is_a_clash(service: ServiceClient) -> None:
    service.draft(attribute_spec("S-2"))
    answer = service.post("/v1/specs", attribute_spec("S-2", part="other"))
    problem(answer, 409, "conflict")
    assert codes(answer) == ["ALREADY_EXISTS"]


def test_a_contradiction_is_refused_with_every_place(service: ServiceClient) -> None:
    plan = {**attribute_spec()["plan"], "max_units": 1, "credit": "TO_PLANNED"}
    answer = service.post("/v1/specs", attribute_spec("S-3", plan=plan))
    problem(answer, 400, "invalid-request")
    assert pointers(answer) == ["/plan/max_units", "/plan/credit"]
    assert service.get(versions("S-3")).status_code == 404


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"reliabilty": 0.9}, "/reliabilty"),
        ({"requirement": [{"reliability": "0.7", "confidence": 0.9, "target_cycles": 1000}]},
         "/requirement/0/reliability"),
        ({"requirement": [{"reliability": 95.0, "confidence": 0.9, "target_cycles": 1000}]},
         "/requirement/0/reliability"),
        ({"requirement": []}, "/requirement"),
        ({"spec_id": "with space"}, "/spec_id"),
    ],
)  # fmt: skip
def test_a_misspelt_or_mistyped_field_is_refused_with_its_place(
    service: ServiceClient, changes: dict[str, Any], pointer: str
) -> None:
    answer = service.post("/v1/specs", {**attribute_spec("S-4"), **changes})
    problem(answer, 400, "invalid-request")
    assert pointers(answer) == [pointer]


def test_a_draft_is_replaced_and_deleted_an_approved_version_is_not(
    service: ServiceClient,
) -> None:
    draft = service.draft(attribute_spec("S-5"))
    replaced = service.put(versions("S-5", 1), attribute_spec("S-5", part="x"))
    assert replaced.status_code == 200
    assert replaced.json()["spec"]["part"] == "x"
    stale = service.put(
        versions("S-5", 1), attribute_spec("S-5", part="y"), **{"If-Match": f'"{draft["hash"]}"'}
    )
    problem(stale, 412, "stale-version")
    service.post(versions("S-5"), attribute_spec("S-5", part="second"))
    assert service.delete(versions("S-5", 2)).status_code == 204
    assert service.get(versions("S-5", 2)).status_code == 404
    service.approve("S-5")
    put = service.put(versions("S-5", 1), attribute_spec("S-5", part="z"))
    problem(put, 409, "spec-frozen")
    problem(service.delete(versions("S-5", 1)), 409, "spec-frozen")


def test_the_next_approval_supersedes_the_one_before(service: ServiceClient) -> None:
    service.approved_spec(attribute_spec("S-6"))
    second = service.post(versions("S-6"), attribute_spec("S-6", part="second"))
    assert second.status_code == 201
    assert second.headers["location"] == versions("S-6", 2)
    again = service.post(versions("S-6"), attribute_spec("S-6", part="second"))
    assert (again.status_code, again.json()["version"]) == (200, 2)
    approved = service.put(versions("S-6", 2, "/approval"), APPROVAL)
    assert approved.status_code == 200
    assert approved.json()["approval_meaning"] == "approved for test"
    repeated = service.put(versions("S-6", 2, "/approval"), APPROVAL)
    assert repeated.json() == approved.json()
    other = service.put(versions("S-6", 2, "/approval"), {**APPROVAL, "reason": "other"})
    problem(other, 409, "spec-frozen")
    listed = service.read_all(versions("S-6") + "?limit=1")
    assert [(each["version"], each["state"]) for each in listed] == [
        (1, "SUPERSEDED"),
        (2, "APPROVED"),
    ]


def test_a_plan_that_shows_too_little_is_not_approved(service: ServiceClient) -> None:
    plan = {**attribute_spec()["plan"], "unit_count": 5}
    service.draft(attribute_spec("S-7", plan=plan))
    answer = service.put(versions("S-7", 1, "/approval"), APPROVAL)
    problem(answer, 400, "invalid-request")
    # 0.7**5 = 0.168 and 0.7**6 = 0.118 against 1 - 0.88 = 0.12.
    assert "6 units are needed" in answer.json()["errors"][0]["detail"]


def test_approving_needs_its_own_scope(service: ServiceClient) -> None:
    service.draft(attribute_spec("S-8"))
    writer = service.with_scopes(["lots.read", "lots.write", "results.write"])
    problem(writer.put(versions("S-8", 1, "/approval"), APPROVAL), 403, "not-allowed")
    approver = service.with_scopes(["specs.approve"], name="Reviewer")
    answer = approver.put(versions("S-8", 1, "/approval"), APPROVAL)
    assert answer.json()["approved_by"] == "Reviewer"
    problem(approver.post("/v1/specs", attribute_spec("S-9")), 403, "not-allowed")


def test_the_address_and_the_body_name_the_same_specification(service: ServiceClient) -> None:
    service.draft(attribute_spec("S-10"))
    answer = service.put(versions("S-10", 1), attribute_spec("S-11"))
    problem(answer, 400, "invalid-request")
    assert pointers(answer) == ["/spec_id"]


def test_specifications_are_listed_by_id_through_all_pages(service: ServiceClient) -> None:
    for number in range(10, 19):
        service.draft(attribute_spec(f"T-{number}"))
    found = [each["spec_id"] for each in service.read_all("/v1/specs?limit=3")]
    assert found == sorted(found)
    assert len(found) == len(set(found))
    assert set(found) >= {f"T-{number}" for number in range(10, 19)}


def test_what_is_not_there_is_not_found(service: ServiceClient) -> None:
    for answer in (
        service.get(versions("S-0", 1)),
        service.get(versions("S-0")),
        service.post(versions("S-0"), attribute_spec("S-0")),
        service.put(versions("S-0", 1), attribute_spec("S-0")),
        service.delete(versions("S-0", 1)),
        service.put(versions("S-0", 1, "/approval"), APPROVAL),
    ):
        problem(answer, 404, "not-found")
    assert service.get(versions("S-0", 0)).status_code in (400, 404)
