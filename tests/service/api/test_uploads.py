"""Uploads over HTTP: taken whole or refused with a reason, the same bytes give one receipt."""

import base64
import hashlib

import pytest
from answers import codes, problem
from bodies import attribute_spec, cycle_rows, cycle_table, lives_table, run_outs
from service_client import ServiceClient


def digest(body: bytes) -> str:
    return f"sha-256=:{base64.b64encode(hashlib.sha256(body).digest()).decode()}:"


def test_the_same_bytes_give_the_first_receipt(service: ServiceClient) -> None:
    body = lives_table(run_outs("UPL-1", ["001", "002"]))
    first = service.post_upload(body, **{"Content-Digest": digest(body)})
    assert first.status_code == 201
    receipt = first.json()
    assert first.headers["location"] == f"/v1/uploads/{receipt['upload_id']}"
    assert receipt["sha256"] == hashlib.sha256(body).hexdigest()
    assert (receipt["table"], receipt["row_count"], receipt["stored_rows"]) == ("LIVES", 2, 2)
    assert receipt["received_from"] == "Test bench"
    again = service.post_upload(body)
    assert (again.status_code, again.json()) == (200, receipt)
    assert service.read(first.headers["location"]) == receipt
    assert not list((service.data_directory / "spool").iterdir())


def test_a_refused_file_leaves_no_trace(service: ServiceClient) -> None:
    before = service.read_all("/v1/uploads")
    answer = service.post_upload(b"no table at all")
    problem(answer, 400, "upload-refused")
    assert codes(answer) == ["NOT_PARQUET"]
    other = service.post_upload(
        lives_table(run_outs("UPL-2", ["001"])), **{"Content-Digest": digest(b"other")}
    )
    problem(other, 400, "upload-refused")
    assert codes(other) == ["DIGEST_MISMATCH"]
    assert service.read_all("/v1/uploads") == before
    assert service.read("/v1/lots?lot_number=UPL-2")["items"] == []
    assert not list((service.data_directory / "spool").iterdir())


@pytest.mark.parametrize("media_type", ["application/octet-stream", "application/json"])
def test_another_media_type_is_refused(service: ServiceClient, media_type: str) -> None:
    answer = service.post_upload(b"PAR1", **{"Content-Type": media_type})
    problem(answer, 415, "unsupported-media-type")
    assert codes(answer) == ["MEDIA_TYPE"]


def test_uploading_needs_its_own_scope(service: ServiceClient) -> None:
    writer = service.with_scopes(["lots.read", "lots.write"])
    body = lives_table(run_outs("UPL-3", ["001"]))
    problem(writer.post_upload(body), 403, "not-allowed")
    results = service.with_scopes(["results.write"], name="RIG-A")
    answer = results.post_upload(body)
    assert (answer.status_code, answer.json()["received_from"]) == (201, "RIG-A")


def test_receipts_are_listed_in_the_order_of_arrival(service: ServiceClient) -> None:
    made = [
        service.upload(lives_table(run_outs("UPL-4", [f"{number:03}"])))["upload_id"]
        for number in range(7)
    ]
    found = [each["upload_id"] for each in service.read_all("/v1/uploads?limit=2")]
    assert found[-7:] == made
    assert len(found) == len(set(found))


def test_every_row_of_an_upload_is_accounted_for(service: ServiceClient) -> None:
    rows = cycle_rows("UPL-5", "001", "run-1", [33.0, 20.0, 33.0, 36.0])
    without_spec = cycle_rows("UPL-6", "001", "run-2", [33.0])
    upload_id = service.upload(cycle_table(rows + without_spec))["upload_id"]
    path = f"/v1/uploads/{upload_id}/findings"
    before = service.read(path)
    assert (before["row_count"], before["without_spec_rows"]) == (5, 5)
    service.approved_spec(attribute_spec("F-1"))
    [lot] = service.read("/v1/lots?lot_number=UPL-5")["items"]
    service.assign(lot["lot_id"], "F-1")
    after = service.read(path)
    assert (after["counted_cycles"], after["not_counted_cycles"]) == (2, 2)
    assert after["not_counted_by"] == {"OVER_PRESSURE": 1, "UNDER_PRESSURE": 1}
    assert after["without_spec_rows"] == 1
    assert after["row_count"] == 2 + 2 + 1


def test_an_unknown_upload_is_not_found(service: ServiceClient) -> None:
    problem(service.get("/v1/uploads/up_nowhere"), 404, "not-found")
    problem(service.get("/v1/uploads/up_nowhere/findings"), 404, "not-found")
