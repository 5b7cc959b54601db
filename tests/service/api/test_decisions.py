"""Recording a verdict: only what was read, only what can be decided, never twice."""

from typing import Any

import pytest
from answers import codes, problem
from bodies import attribute_spec, failed, lives_table, run_outs
from httpx import Response
from service_client import ServiceClient

SERIALS = [f"{number:03}" for number in range(1, 7)]
BODY = {"meaning": "accepted under the specification", "reason": "plan finished"}


@pytest.fixture(scope="module", autouse=True)
def spec(service: ServiceClient) -> None:
    service.approved_spec(attribute_spec("D-1"))


def lot(service: ServiceClient, lot_number: str, lives: list[dict[str, Any]]) -> str:
    lot_id = service.lot(lot_number)["lot_id"]
    service.sample(lot_id, SERIALS)
    service.assign(lot_id, "D-1")
    if lives:
        service.upload(lives_table(lives))
    return str(lot_id)


def tag(service: ServiceClient, lot_id: str) -> str:
    return str(service.get(f"/v1/lots/{lot_id}/evaluation").headers["etag"])


def decide(service: ServiceClient, lot_id: str, if_match: str, **changes: str) -> Response:
    path = f"/v1/lots/{lot_id}/decisions"
    return service.post(path, {**BODY, **changes}, **{"If-Match": if_match})


def test_a_verdict_is_recorded_once_and_a_repeat_gives_the_first(service: ServiceClient) -> None:
    lot_id = lot(service, "DEC-1", run_outs("DEC-1", SERIALS))
    signer = service.with_scopes(["lots.read", "decisions.sign"], name="A. Tester")
    seen = tag(service, lot_id)
    first = decide(signer, lot_id, seen)
    assert first.status_code == 201
    decision = first.json()
    assert first.headers["location"] == f"/v1/decisions/{decision['decision_id']}"
    assert (decision["verdict"], decision["decided_by"]) == ("ACCEPT", "A. Tester")
    assert (decision["actor_kind"], decision["decision_outdated"]) == ("PERSON", False)
    assert (decision["meaning"], decision["reason"]) == (BODY["meaning"], BODY["reason"])
    assert decision["evaluation"] == service.evaluation(lot_id)
    again = decide(signer, lot_id, seen)
    assert (again.status_code, again.json()) == (200, decision)
    other = decide(signer, lot_id, seen, reason="another reason")
    problem(other, 409, "conflict")
    assert codes(other) == ["ALREADY_EXISTS"]
    assert service.read(first.headers["location"]) == decision
    assert service.read(f"/v1/lots/{lot_id}/decisions")["items"] == [decision]


def test_a_refusal_is_recorded_with_its_kind(service: ServiceClient) -> None:
    lives = [*run_outs("DEC-2", SERIALS[:5]), failed("DEC-2", SERIALS[5], 400)]
    lot_id = lot(service, "DEC-2", lives)
    decision = decide(service, lot_id, tag(service, lot_id)).json()
    assert decision["verdict"] == "REJECT"
    assert decision["kind"] in ("NOT_DEMONSTRATED", "SHOWN_BELOW_REQUIREMENT")
    assert decision["actor_kind"] == "SYSTEM"


def test_a_lot_that_continues_or_is_held_cannot_be_decided(service: ServiceClient) -> None:
    lot_id = lot(service, "DEC-3", run_outs("DEC-3", SERIALS[:3]))
    problem(decide(service, lot_id, tag(service, lot_id)), 409, "not-decidable")
    service.upload(lives_table(run_outs("DEC-4", SERIALS)))
    [held] = service.read("/v1/lots?lot_number=DEC-4")["items"]
    answer = decide(service, held["lot_id"], tag(service, held["lot_id"]))
    problem(answer, 409, "not-decidable")


def test_the_version_that_was_read_must_be_named_and_current(service: ServiceClient) -> None:
    lot_id = lot(service, "DEC-5", run_outs("DEC-5", SERIALS[:5]))
    old = tag(service, lot_id)
    missing = service.post(f"/v1/lots/{lot_id}/decisions", BODY)
    problem(missing, 428, "precondition-required")
    problem(decide(service, lot_id, "*"), 400, "invalid-request")
    problem(decide(service, lot_id, f"W/{old}"), 400, "invalid-request")
    service.upload(lives_table(run_outs("DEC-5", SERIALS[5:])))
    problem(decide(service, lot_id, old), 412, "stale-version")
    assert decide(service, lot_id, tag(service, lot_id)).status_code == 201


def test_a_what_if_is_never_decided(service: ServiceClient) -> None:
    service.approved_spec(attribute_spec("D-2", plan={**attribute_spec()["plan"], "unit_count": 7}))
    lot_id = lot(service, "DEC-6", run_outs("DEC-6", SERIALS))
    what_if = service.evaluation(lot_id, "D-2")["provenance"]["evaluation_key"]
    problem(decide(service, lot_id, f'"{what_if}"'), 412, "stale-version")
    path = f"/v1/lots/{lot_id}/decisions?spec=D-2"
    answer = service.post(path, BODY, **{"If-Match": tag(service, lot_id)})
    problem(answer, 400, "invalid-request")


def test_facts_that_arrive_later_outdate_a_decision_and_change_nothing_in_it(
    service: ServiceClient,
) -> None:
    lot_id = lot(service, "DEC-7", run_outs("DEC-7", SERIALS))
    seen = tag(service, lot_id)
    decision = decide(service, lot_id, seen).json()
    service.upload(lives_table([failed("DEC-7", "099", 10)]))
    now = service.read(f"/v1/decisions/{decision['decision_id']}")
    assert now == {**decision, "decision_outdated": True}
    assert service.read(f"/v1/lots/{lot_id}/decisions")["items"] == [now]
    repeat = decide(service, lot_id, seen)
    assert (repeat.status_code, repeat.json()) == (200, now)


def test_deciding_needs_its_own_scope_and_a_known_lot(service: ServiceClient) -> None:
    lot_id = lot(service, "DEC-8", [])
    reader = service.with_scopes(["lots.read", "lots.write", "results.write"])
    problem(decide(reader, lot_id, '"x"'), 403, "not-allowed")
    problem(decide(service, "lot_nowhere", '"x"'), 404, "not-found")
    problem(service.get("/v1/decisions/dec_nowhere"), 404, "not-found")
    unknown = service.post(
        f"/v1/lots/{lot_id}/decisions", {**BODY, "verdict": "ACCEPT"}, **{"If-Match": '"x"'}
    )
    problem(unknown, 400, "invalid-request")


def test_decisions_of_a_lot_are_listed_through_all_pages(service: ServiceClient) -> None:
    lot_id = lot(service, "DEC-9", run_outs("DEC-9", SERIALS))
    made = [service.decide(lot_id)]
    for version in (2, 3):
        spec = attribute_spec("D-1", part=f"version {version}")
        service.post("/v1/specs/D-1/versions", spec)
        service.approve("D-1", version)
        service.assign(lot_id, "D-1", version)
        made.append(service.decide(lot_id))
    found = service.read_all(f"/v1/lots/{lot_id}/decisions?limit=1")
    assert [each["decision_id"] for each in found] == [each["decision_id"] for each in made]
    assert [each["decision_outdated"] for each in found] == [True, True, False]
