"""Lots, samples and assignments over HTTP."""

from answers import codes, pointers, problem
from bodies import attribute_spec, lives_table, run_outs
from service_client import ServiceClient


def test_a_lot_is_registered_once(service: ServiceClient) -> None:
    body = {"lot_number": "A / 1", "part_number": "CC25", "lot_size": 400}
    first = service.post("/v1/lots", body)
    assert first.status_code == 201
    lot = first.json()
    assert first.headers["location"] == f"/v1/lots/{lot['lot_id']}"
    assert (lot["state"], lot["unit_count"], lot["lot_size"]) == ("REGISTERED", 0, 400)
    again = service.post("/v1/lots", body)
    assert (again.status_code, again.json()) == (200, lot)
    answer = service.post("/v1/lots", {**body, "lot_size": 401})
    problem(answer, 409, "conflict")
    assert service.read(first.headers["location"]) == lot


def test_unknown_fields_and_wrong_types_are_refused(service: ServiceClient) -> None:
    answer = service.post("/v1/lots", {"lot_number": "X", "part_number": "Y", "lotsize": 4})
    problem(answer, 400, "invalid-request")
    assert answer.json()["errors"][0]["suggestion"] == "lot_size"
    answer = service.post("/v1/lots", {"lot_number": 7, "part_number": "Y"})
    assert pointers(answer) == ["/lot_number"]
    assert codes(service.post("/v1/lots", {"lot_number": "X"})) == ["MISSING_FIELD"]


def test_a_lot_that_an_upload_named_is_unregistered_and_keeps_its_id(
    service: ServiceClient,
) -> None:
    service.upload(lives_table(run_outs("SEEN-1", ["001", "002"])))
    [seen] = service.read("/v1/lots?lot_number=SEEN-1")["items"]
    assert (seen["state"], seen["unit_count"]) == ("UNREGISTERED", 2)
    assert service.read("/v1/lots?state=UNREGISTERED")["items"] == [seen]
    registered = service.lot("SEEN-1")
    assert (registered["state"], registered["lot_id"]) == ("REGISTERED", seen["lot_id"])
    assert service.read("/v1/lots?state=UNREGISTERED")["items"] == []
    problem(service.get("/v1/lots?state=OTHER"), 400, "invalid-request")


def test_a_sample_is_listed_once(service: ServiceClient) -> None:
    lot = service.lot("SAMPLE-1")
    path = f"/v1/lots/{lot['lot_id']}/units"
    body = {"units": [{"unit_serial": "001", "component_batch": "SB-17"}, {"unit_serial": "002"}]}
    first = service.post(path, body)
    assert (first.status_code, first.headers["location"]) == (201, path)
    units = first.json()["items"]
    assert [unit["unit_serial"] for unit in units] == ["001", "002"]
    assert (units[0]["listed"], units[0]["component_batch"]) == (True, "SB-17")
    again = service.post(path, body)
    assert (again.status_code, again.json()) == (200, first.json())
    other = service.post(path, {"units": [{"unit_serial": "001", "component_batch": "SB-18"}]})
    problem(other, 409, "conflict")
    twice = service.post(path, {"units": [{"unit_serial": "003"}, {"unit_serial": "003"}]})
    assert codes(twice) == ["REPEATED_SERIAL", "REPEATED_SERIAL"]
    empty = service.post(path, {"units": []})
    problem(empty, 400, "invalid-request")
    assert service.read_all(path + "?limit=1") == units


def test_an_approved_specification_is_assigned_once(service: ServiceClient) -> None:
    lot = service.lot("ASSIGN-1")
    path = f"/v1/lots/{lot['lot_id']}/assignments"
    body = {"spec_id": "L-1", "version": 1, "reason": "as ordered"}
    problem(service.post(path, body), 404, "not-found")
    service.draft(attribute_spec("L-1"))
    draft = service.post(path, body)
    problem(draft, 409, "conflict")
    assert codes(draft) == ["SPEC_NOT_APPROVED"]
    service.approve("L-1")
    first = service.post(path, body)
    assert (first.status_code, first.headers["location"]) == (201, path)
    again = service.post(path, body)
    assert (again.status_code, again.json()) == (200, first.json())
    assert service.read(f"/v1/lots/{lot['lot_id']}")["assignment"] == first.json()
    other = service.post(path, {**body, "reason": "confirmed"})
    assert other.status_code == 201
    found = service.read_all(path + "?limit=1")
    assert [each["reason"] for each in found] == ["as ordered", "confirmed"]


def test_the_uploads_of_a_lot_are_listed(service: ServiceClient) -> None:
    first = service.upload(lives_table(run_outs("UP-1", ["001"])))
    second = service.upload(lives_table(run_outs("UP-1", ["002"]) + run_outs("UP-2", ["001"])))
    service.upload(lives_table(run_outs("UP-3", ["001"])))
    [lot] = service.read("/v1/lots?lot_number=UP-1")["items"]
    found = service.read_all(f"/v1/lots/{lot['lot_id']}/uploads?limit=1")
    assert found == [first, second]


def test_an_unknown_lot_is_not_found(service: ServiceClient) -> None:
    place = "/v1/lots/lot_nowhere"
    assignment = {"spec_id": "L-1", "version": 1, "reason": "r"}
    for answer in (
        service.get(place),
        service.get(f"{place}/units"),
        service.post(f"{place}/units", {"units": [{"unit_serial": "1"}]}),
        service.get(f"{place}/assignments"),
        service.post(f"{place}/assignments", assignment),
        service.get(f"{place}/uploads"),
        service.get(f"{place}/evaluation"),
        service.get(f"{place}/holds"),
        service.get(f"{place}/decisions"),
    ):
        problem(answer, 404, "not-found")


def test_reading_does_not_allow_writing(service: ServiceClient) -> None:
    reader = service.with_scopes(["lots.read"])
    assert reader.get("/v1/lots").status_code == 200
    answer = reader.post("/v1/lots", {"lot_number": "X", "part_number": "Y"})
    problem(answer, 403, "not-allowed")
