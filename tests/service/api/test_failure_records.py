"""Failure records over HTTP: recorded by key, read with what they do, signed by two persons."""

from typing import Any

import pytest
from answers import codes, pointers, problem
from bodies import BURST, attribute_spec, failed, lives_table, run_outs
from httpx import Response
from service_client import ServiceClient

SERIALS = [f"{number:03}" for number in range(1, 7)]
RIG_HOSE = BURST | {"name": "RIG_HOSE", "relevant": False}
CRACK = BURST | {"name": "THREAD_CRACK", "critical": True}
SIGNED = {"meaning": "excluded from failures", "reason": "the hose belongs to the rig"}


@pytest.fixture(scope="module", autouse=True)
def spec(service: ServiceClient) -> None:
    modes = {"modes": [BURST, RIG_HOSE, CRACK], "burst_below_mpa": 10.0}
    service.approved_spec(attribute_spec("F-1", failure=modes))


@pytest.fixture(scope="module")
def ann(service: ServiceClient) -> ServiceClient:
    return service.with_scopes(["lots.read", "holds.sign"], name="A. Tester")


@pytest.fixture(scope="module")
def ben(service: ServiceClient) -> ServiceClient:
    return service.with_scopes(["lots.read", "holds.sign"], name="B. Tester")


def failed_lot(service: ServiceClient, lot_number: str) -> str:
    """Five run-outs and a unit that failed in its thousandth and last planned cycle."""
    lot_id = service.lot(lot_number)["lot_id"]
    service.assign(lot_id, "F-1")
    lives = run_outs(lot_number, SERIALS[1:])
    lives.append(failed(lot_number, SERIALS[0], 1000) | {"failure_mode": "BURST"})
    service.upload(lives_table(lives))
    return str(lot_id)


def body(lot_number: str, key: str = "", mode: str = "RIG_HOSE", **changes: Any) -> dict[str, Any]:
    return {
        "record_key": key or f"{lot_number}-FA-1",
        "unit": {"lot_number": lot_number, "unit_serial": SERIALS[0]},
        "failure_mode": mode,
        "cause": "the hose split beside the coupling",
        "evidence": "photograph and section of the hose",
        "examined_at": "2026-11-26T09:00:00Z",
        **changes,
    }


def record(service: ServiceClient, lot_number: str, **changes: Any) -> dict[str, Any]:
    answer = service.post("/v1/failure-records", body(lot_number, **changes))
    assert answer.status_code == 201, answer.text
    assert answer.headers["location"] == f"/v1/failure-records/{answer.json()['record_id']}"
    return answer.json()


def sign(person: ServiceClient, record_id: str, tag: str | None = None, **changes: str) -> Response:
    path = f"/v1/failure-records/{record_id}"
    seen = person.get(path).headers["etag"] if tag is None else tag
    return person.post(f"{path}/signatures", {**SIGNED, **changes}, **{"If-Match": seen})


def test_two_signatures_turn_a_refusal_into_an_acceptance_that_shows_both(
    service: ServiceClient, ann: ServiceClient, ben: ServiceClient
) -> None:
    """Six of six accept the plan; with one failure among none allowed it is refused."""
    lot_id = failed_lot(service, "FR-1")
    made = record(service, "FR-1")
    before = service.evaluation(lot_id)
    assert before["verdict"] == "REJECT"
    report = ann.get(f"/v1/failure-records/{made['record_id']}")
    assert report.headers["etag"] == f'"{before["provenance"]["evaluation_key"]}"'
    seen = report.json()
    assert (seen["state"], seen["signatures_missing"]) == ("AWAITS_SIGNATURES", 2)
    assert (seen["verdict"], seen["if_signed"]["verdict"]) == ("REJECT", "ACCEPT")
    assert seen["may_sign"] == {"scope": "holds.sign", "actor_kind": "PERSON"}
    first = sign(ann, made["record_id"])
    assert first.status_code == 201, first.text
    assert service.evaluation(lot_id)["verdict"] == "REJECT"
    second = sign(ben, made["record_id"])
    assert second.json()["after"]["verdict"] == "ACCEPT"
    after = service.evaluation(lot_id)
    assert after["verdict"] == "ACCEPT"
    assert after["verdict_if_counted"] == {"verdict": "REJECT", "kind": "NOT_DEMONSTRATED"}
    [excluded] = after["excluded_failures"]
    assert (excluded["unit_serial"], excluded["counted_cycles"]) == ("001", 1000)
    [notice] = after["notices"]
    assert notice["code"] == "NON_RELEVANT_LEAK"
    life = service.read(f"/v1/units/{made['unit_id']}/life")
    assert (life["ending"], life["failure"]["relevant"]) == ("SUSPENDED", False)
    assert life["if_counted"]["outcome"]["ending"] == "FAILED"
    same = ann.get(
        f"/v1/failure-records/{made['record_id']}",
        **{"If-None-Match": f'"{after["provenance"]["evaluation_key"]}"'},
    )
    assert same.status_code == 304


def test_a_record_that_lowers_nothing_is_in_effect_at_once(
    service: ServiceClient, ann: ServiceClient
) -> None:
    lot_id = failed_lot(service, "FR-2")
    decision = service.decide(lot_id)
    made = record(service, "FR-2", mode="THREAD_CRACK")
    evaluation = service.evaluation(lot_id)
    assert "CRITICAL_FAILURE" in [reason["code"] for reason in evaluation["reasons"]]
    assert [each["code"] for each in evaluation["notices"]] == ["CRITICAL_FAILURE_SEEN"]
    assert service.read(f"/v1/decisions/{decision['decision_id']}")["decision_outdated"]
    report = service.read(f"/v1/failure-records/{made['record_id']}")
    assert (report["state"], report["signatures_needed"]) == ("IN_EFFECT", 0)
    answer = sign(ann, made["record_id"])
    problem(answer, 409, "conflict")
    assert codes(answer) == ["SIGNATURE_NOT_NEEDED"]


def test_a_critical_failure_is_not_talked_away_by_another_mode(
    service: ServiceClient, ann: ServiceClient, ben: ServiceClient
) -> None:
    lot_id = failed_lot(service, "FR-3")
    record(service, "FR-3", mode="THREAD_CRACK")
    later = record(service, "FR-3", key="FR-3-FA-2", mode="BURST")

    def is_critical() -> bool:
        reasons = service.evaluation(lot_id)["reasons"]
        return "CRITICAL_FAILURE" in [reason["code"] for reason in reasons]

    assert is_critical()
    sign(ann, later["record_id"])
    assert is_critical()
    assert sign(ben, later["record_id"]).status_code == 201
    assert not is_critical()


def test_records_are_idempotent_by_key_and_paged(service: ServiceClient) -> None:
    lot_id = failed_lot(service, "FR-4")
    first = record(service, "FR-4")
    again = service.post("/v1/failure-records", body("FR-4"))
    assert (again.status_code, again.json()) == (200, first)
    other = service.post("/v1/failure-records", body("FR-4", cause="another"))
    problem(other, 409, "conflict")
    assert codes(other) == ["ALREADY_EXISTS"]
    second = record(service, "FR-4", key="FR-4-FA-2")
    assert service.read_all(f"/v1/failure-records?lot_id={lot_id}&limit=1") == [first, second]
    assert service.read_all("/v1/failure-records?lot_id=lot_x") == []
    report = service.read(f"/v1/failure-records/{first['record_id']}")
    assert report["state"] == "SUPERSEDED"


def test_custody_and_attachments_are_kept_and_named(service: ServiceClient) -> None:
    failed_lot(service, "FR-5")
    stored = service.http.post(
        "/v1/attachments",
        content=b"\x89PNG\r\n\x1a\nseal lip",
        headers={"Content-Type": "image/png", **service.headers},
    ).json()
    custody = [
        {"held_by": "A. Tester", "place": "bench 2", "from_at": "2026-11-25T09:00:00Z"},
        {"held_by": "laboratory", "place": "cabinet 4", "from_at": "2026-11-26T09:00:00Z"},
    ]
    made = record(service, "FR-5", custody=custody, attachments=[stored["sha256"]])
    assert made["record"]["custody"] == custody
    report = service.read(f"/v1/failure-records/{made['record_id']}")
    assert report["attachments"] == [stored]


@pytest.mark.parametrize(
    ("changes", "code", "pointer"),
    [
        ({"attachments": ["ab" * 32]}, "ATTACHMENT_NOT_STORED", "/attachments/0"),
        ({"attachments": ["AB" * 32]}, "INVALID_VALUE", "/attachments/0"),
        ({"cause": " \n"}, "INVALID_VALUE", "/cause"),
        ({"examined_at": "2026-11-26T09:00:00"}, "INVALID_VALUE", "/examined_at"),
        ({"verdict": "ACCEPT"}, "UNKNOWN_FIELD", "/verdict"),
        (
            {"hidden_before": {"clean_at_cycles": -1}},
            "INVALID_VALUE",
            "/hidden_before/clean_at_cycles",
        ),
    ],
)
def test_a_wrong_field_is_refused_with_its_place(
    service: ServiceClient, changes: dict[str, Any], code: str, pointer: str
) -> None:
    failed_lot(service, "FR-6")
    answer = service.post("/v1/failure-records", body("FR-6", **changes))
    problem(answer, 400, "invalid-request")
    assert (codes(answer), pointers(answer)) == ([code], [pointer])


def test_the_lot_of_a_record_must_be_known(service: ServiceClient) -> None:
    answer = service.post("/v1/failure-records", body("FR-NOWHERE"))
    problem(answer, 404, "not-found")
    assert codes(answer) == ["LOT_NOT_FOUND"]


def test_a_repeat_of_a_signature_adds_nothing_and_a_person_signs_once(
    service: ServiceClient, ann: ServiceClient
) -> None:
    failed_lot(service, "FR-7")
    made = record(service, "FR-7")
    first = sign(ann, made["record_id"])
    again = sign(ann, made["record_id"])
    assert (again.status_code, again.json()) == (200, first.json())
    answer = sign(ann, made["record_id"], reason="looked again")
    problem(answer, 409, "conflict")
    assert codes(answer) == ["ALREADY_SIGNED"]


def test_the_version_that_was_read_must_be_named_and_current(
    service: ServiceClient, ann: ServiceClient
) -> None:
    failed_lot(service, "FR-8")
    made = record(service, "FR-8")
    path = f"/v1/failure-records/{made['record_id']}"
    old = ann.get(path).headers["etag"]
    problem(ann.post(f"{path}/signatures", SIGNED), 428, "precondition-required")
    problem(sign(ann, made["record_id"], "*"), 400, "invalid-request")
    service.upload(lives_table([failed("FR-8", "002", 10)]))
    problem(sign(ann, made["record_id"], old), 412, "stale-version")
    assert service.read(path)["signatures"] == []


def test_a_program_may_not_sign_and_a_person_needs_the_scope(service: ServiceClient) -> None:
    failed_lot(service, "FR-9")
    made = record(service, "FR-9")
    answer = sign(service, made["record_id"])
    assert "person" in problem(answer, 403, "not-allowed")["detail"]
    others = service.with_scopes(["lots.read", "results.write", "decisions.sign"])
    answer = sign(others, made["record_id"])
    assert "holds.sign" in problem(answer, 403, "not-allowed")["detail"]


def test_an_unknown_record_is_not_found(service: ServiceClient, ann: ServiceClient) -> None:
    problem(ann.get("/v1/failure-records/rec_x"), 404, "not-found")
    problem(sign(ann, "rec_x", '"x"'), 404, "not-found")
