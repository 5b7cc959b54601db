"""Holds over HTTP: what their signer sees, what a signature does, and every refusal."""

from typing import Any

import pytest
from answers import codes, pointers, problem
from bodies import attribute_spec, failed, lives_table, run_outs
from httpx import Response
from service_client import ServiceClient

SERIALS = [f"{number:03}" for number in range(1, 7)]
SIGNED = {"choice": "BEST", "meaning": "hold decided", "reason": "the bench log names the run-out"}


@pytest.fixture(scope="module", autouse=True)
def spec(service: ServiceClient) -> None:
    service.approved_spec(attribute_spec("H-1"))


@pytest.fixture(scope="module")
def person(service: ServiceClient) -> ServiceClient:
    return service.with_scopes(["lots.read", "holds.sign"], name="A. Tester")


def held_lot(service: ServiceClient, lot_number: str, doubtful: int = 1) -> str:
    """Six run-outs, of which some have a second life that says they failed."""
    lot_id = service.lot(lot_number)["lot_id"]
    service.sample(lot_id, SERIALS)
    service.assign(lot_id, "H-1")
    service.upload(lives_table(run_outs(lot_number, SERIALS)))
    service.upload(lives_table([failed(lot_number, s, 500) for s in SERIALS[:doubtful]]))
    return str(lot_id)


def holds(service: ServiceClient, lot_id: str, state: str = "open") -> list[dict[str, Any]]:
    return service.read_all(f"/v1/lots/{lot_id}/holds?state={state}")


def sign(
    person: ServiceClient, hold_id: str, if_match: str | None = None, **changes: str
) -> Response:
    """Sign on what the hold's report says now, or on another version."""
    path = f"/v1/holds/{hold_id}"
    tag = person.get(path).headers["etag"] if if_match is None else if_match
    return person.post(f"{path}/dispositions", {**SIGNED, **changes}, **{"If-Match": tag})


def test_a_hold_shows_evidence_options_and_the_verdict_under_each(service: ServiceClient) -> None:
    lot_id = held_lot(service, "HOLD-1")
    evaluation = service.get(f"/v1/lots/{lot_id}/evaluation")
    assert evaluation.json()["verdict"] == "HOLD"
    [hold] = holds(service, lot_id)
    answer = service.get(f"/v1/holds/{hold['hold_id']}")
    report = answer.json()
    assert answer.headers["etag"] == evaluation.headers["etag"]
    assert (report["state"], report["name"]) == ("OPEN", "LIFE_SOURCE_CONFLICT")
    assert (report["lot_id"], report["unit_serial"]) == (lot_id, "001")
    assert report["may_decide"] == {"scope": "holds.sign", "actor_kind": "PERSON"}
    best, worst = report["options"]
    # No failure among six accepts the plan, one failure among none allowed refuses it.
    assert (best["choice"], best["ending"], best["verdict"]) == ("BEST", "RUN_OUT", "ACCEPT")
    assert (worst["choice"], worst["ending"], worst["verdict"]) == ("WORST", "FAILED", "REJECT")
    assert (best["open_hold_count"], worst["open_hold_count"]) == (0, 0)
    assert (report["credited_cycles_at_stake"], report["dispositions"]) == (500, [])
    assert (report["verdict"], report["evaluation_key"]) == (
        "HOLD",
        evaluation.json()["provenance"]["evaluation_key"],
    )
    same = service.get(f"/v1/holds/{hold['hold_id']}", **{"If-None-Match": answer.headers["etag"]})
    assert same.status_code == 304


@pytest.mark.parametrize(
    ("choice", "verdict", "ending"), [("BEST", "ACCEPT", "RUN_OUT"), ("WORST", "REJECT", "FAILED")]
)
def test_a_held_lot_is_accepted_or_refused_by_a_signature(
    service: ServiceClient, person: ServiceClient, choice: str, verdict: str, ending: str
) -> None:
    lot_id = held_lot(service, f"HOLD-2-{choice}")
    before = service.evaluation(lot_id)
    [hold] = holds(service, lot_id)
    answer = sign(person, hold["hold_id"], choice=choice)
    assert answer.status_code == 201, answer.text
    signed = answer.json()
    assert answer.headers["location"] == f"/v1/holds/{hold['hold_id']}/dispositions"
    after = service.evaluation(lot_id)
    assert (before["verdict"], after["verdict"]) == ("HOLD", verdict)
    assert (before["evidence"]["open_hold_count"], after["evidence"]["open_hold_count"]) == (1, 0)
    assert (after["holds"], holds(service, lot_id)) == ([], [])
    assert [h["hold_id"] for h in after["decided_holds"]] == [hold["hold_id"]]
    assert holds(service, lot_id, "decided") == after["decided_holds"]
    said = after["decided_holds"][0]["answer"]
    assert (said["choice"], said["meaning"], said["reason"], said["signed_by"]) == (
        choice,
        SIGNED["meaning"],
        SIGNED["reason"],
        "A. Tester",
    )
    assert said["signed_at"] == signed["signed_at"]
    assert signed["before"]["evaluation_key"] == before["provenance"]["evaluation_key"]
    assert signed["after"]["evaluation_key"] == after["provenance"]["evaluation_key"]
    assert (signed["before"]["verdict"], signed["after"]["verdict"]) == ("HOLD", verdict)
    assert (signed["actor_kind"], signed["in_effect"]) == ("PERSON", True)
    assert (signed["hold"], signed["chosen"]["ending"]) == (hold, ending)
    life = service.read(f"/v1/units/{hold['unit_id']}/life")
    assert (life["ending"], life["holds"]) == (ending, [])
    assert [h["hold_id"] for h in life["decided_holds"]] == [hold["hold_id"]]
    assert service.decide(lot_id)["verdict"] == verdict


def test_the_same_signature_again_adds_nothing(
    service: ServiceClient, person: ServiceClient
) -> None:
    lot_id = held_lot(service, "HOLD-3")
    [hold] = holds(service, lot_id)
    seen = person.get(f"/v1/holds/{hold['hold_id']}").headers["etag"]
    first = sign(person, hold["hold_id"], seen)
    key = service.evaluation(lot_id)["provenance"]["evaluation_key"]
    for tag in (seen, f'"{key}"'):
        again = sign(person, hold["hold_id"], tag)
        assert (again.status_code, again.json()) == (200, first.json())
    assert service.evaluation(lot_id)["provenance"]["evaluation_key"] == key
    path = f"/v1/holds/{hold['hold_id']}/dispositions"
    assert service.read_all(path) == [first.json()]


def test_a_later_signature_supersedes_and_both_stay(
    service: ServiceClient, person: ServiceClient
) -> None:
    lot_id = held_lot(service, "HOLD-4")
    [hold] = holds(service, lot_id)
    other = service.with_scopes(["lots.read", "holds.sign"], name="B. Tester")
    first = sign(person, hold["hold_id"]).json()
    decision = service.decide(lot_id)
    second = sign(other, hold["hold_id"], choice="WORST", reason="the fracture was found").json()
    assert (second["before"]["verdict"], second["after"]["verdict"]) == ("ACCEPT", "REJECT")
    assert first["disposition_id"] != second["disposition_id"]
    report = service.read(f"/v1/holds/{hold['hold_id']}")
    assert (report["state"], report["answered_with"]) == ("DECIDED", "WORST")
    assert report["dispositions"] == [{**first, "in_effect": False}, second]
    assert [option["verdict"] for option in report["options"]] == ["ACCEPT", "REJECT"]
    path = f"/v1/holds/{hold['hold_id']}/dispositions?limit=1"
    assert service.read_all(path) == report["dispositions"]
    assert service.evaluation(lot_id)["verdict"] == "REJECT"
    # What was decided on the first one is shown as outdated, and otherwise unchanged.
    now = service.read(f"/v1/decisions/{decision['decision_id']}")
    assert now == {**decision, "decision_outdated": True}
    # The first person signs again as at first: another signature, not a repeat of the newest.
    third = sign(person, hold["hold_id"])
    assert third.status_code == 201
    assert len(service.read_all(path)) == 3


def test_one_of_two_holds_leaves_the_other_open(
    service: ServiceClient, person: ServiceClient
) -> None:
    lot_id = held_lot(service, "HOLD-5", doubtful=2)
    first, second = holds(service, lot_id)
    report = service.read(f"/v1/holds/{first['hold_id']}")
    assert [option["verdict"] for option in report["options"]] == ["HOLD", "REJECT"]
    signed = sign(person, first["hold_id"]).json()
    assert (signed["after"]["verdict"], signed["after"]["open_hold_count"]) == ("HOLD", 1)
    assert [h["hold_id"] for h in holds(service, lot_id)] == [second["hold_id"]]
    assert sign(person, second["hold_id"]).json()["after"]["verdict"] == "ACCEPT"


def test_changed_facts_behind_a_hold_open_it_again(
    service: ServiceClient, person: ServiceClient
) -> None:
    lot_id = held_lot(service, "HOLD-6")
    [hold] = holds(service, lot_id)
    old = sign(person, hold["hold_id"]).json()
    service.upload(lives_table([failed("HOLD-6", "001", 300)]))
    evaluation = service.evaluation(lot_id)
    [asked_now] = evaluation["holds"]
    assert asked_now["hold_id"] != hold["hold_id"]
    assert (evaluation["verdict"], evaluation.get("decided_holds", [])) == ("HOLD", [])
    report = service.read(f"/v1/holds/{hold['hold_id']}")
    assert (report["state"], report["options"]) == ("CLOSED", [])
    assert report["dispositions"] == [{**old, "in_effect": False}]
    answer = sign(person, hold["hold_id"], choice="WORST")
    problem(answer, 409, "conflict")
    assert codes(answer) == ["HOLD_NOT_OPEN"]
    assert asked_now["hold_id"] in answer.json()["detail"]
    repeat = sign(person, hold["hold_id"])
    assert (repeat.status_code, repeat.json()["in_effect"]) == (200, False)


def test_a_hold_that_nobody_decided_and_facts_answered_is_not_signed(
    service: ServiceClient, person: ServiceClient
) -> None:
    lot_id = service.lot("HOLD-7")["lot_id"]
    service.assign(lot_id, "H-1")
    service.sample(lot_id, SERIALS[1:])
    service.upload(lives_table(run_outs("HOLD-7", SERIALS)))
    [hold] = holds(service, lot_id)
    assert hold["name"] == "NOT_IN_SAMPLE"
    service.sample(lot_id, SERIALS[:1])
    key = service.evaluation(lot_id)["provenance"]["evaluation_key"]
    answer = sign(person, hold["hold_id"], f'"{key}"')
    problem(answer, 409, "conflict")
    assert codes(answer) == ["HOLD_NOT_OPEN"]
    problem(service.get(f"/v1/holds/{hold['hold_id']}"), 404, "not-found")


def test_the_version_that_was_read_must_be_named_and_current(
    service: ServiceClient, person: ServiceClient
) -> None:
    lot_id = held_lot(service, "HOLD-8")
    [hold] = holds(service, lot_id)
    path = f"/v1/holds/{hold['hold_id']}/dispositions"
    old = person.get(f"/v1/holds/{hold['hold_id']}").headers["etag"]
    problem(person.post(path, SIGNED), 428, "precondition-required")
    problem(sign(person, hold["hold_id"], "*"), 400, "invalid-request")
    problem(sign(person, hold["hold_id"], f"W/{old}"), 400, "invalid-request")
    service.upload(lives_table([failed("HOLD-8", "002", 10)]))
    problem(sign(person, hold["hold_id"], old), 412, "stale-version")
    assert service.read_all(path) == []


def test_a_program_may_not_sign(service: ServiceClient) -> None:
    lot_id = held_lot(service, "HOLD-9")
    [hold] = holds(service, lot_id)
    answer = sign(service, hold["hold_id"])
    assert "person" in problem(answer, 403, "not-allowed")["detail"]
    assert service.evaluation(lot_id)["verdict"] == "HOLD"


def test_signing_needs_its_own_scope(service: ServiceClient) -> None:
    others = service.with_scopes(["lots.read", "lots.write", "results.write", "decisions.sign"])
    answer = sign(others, "unit_x.UNIT_OVERDUE.aaaaaaaaaaaa", '"x"')
    assert "holds.sign" in problem(answer, 403, "not-allowed")["detail"]


@pytest.mark.parametrize(
    "hold_id",
    ["nowhere", "unit_nowhere.UNIT_OVERDUE.aaaaaaaaaaaa", "{unit}.UNIT_OVERDUE.1", "{unit}.X.a"],
)
def test_an_unknown_hold_is_not_found(
    service: ServiceClient, person: ServiceClient, hold_id: str
) -> None:
    lot_id = service.lot("HOLD-10")["lot_id"]
    service.sample(lot_id, SERIALS)
    unit_id = service.read(f"/v1/lots/{lot_id}/units")["items"][0]["unit_id"]
    named = hold_id.format(unit=unit_id)
    problem(person.get(f"/v1/holds/{named}"), 404, "not-found")
    problem(person.get(f"/v1/holds/{named}/dispositions"), 404, "not-found")
    problem(sign(person, named, '"x"'), 404, "not-found")


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"choice": "best"}, "/choice"),
        ({"choice": 1}, "/choice"),
        ({"reason": ""}, "/reason"),
        ({"reason": " \n"}, "/reason"),
        ({"verdict": "ACCEPT"}, "/verdict"),
    ],
)
def test_a_wrong_field_is_refused_with_its_place(
    service: ServiceClient, person: ServiceClient, changes: dict[str, Any], pointer: str
) -> None:
    answer = sign(person, "unit_x.UNIT_OVERDUE.aaaaaaaaaaaa", '"x"', **changes)
    problem(answer, 400, "invalid-request")
    assert pointers(answer) == [pointer]


def test_only_open_and_decided_holds_can_be_listed(service: ServiceClient) -> None:
    lot_id = service.lot("HOLD-11")["lot_id"]
    problem(service.get(f"/v1/lots/{lot_id}/holds?state=closed"), 400, "invalid-request")
    problem(service.get("/v1/lots/lot_nowhere/holds"), 404, "not-found")
