"""Attachments over HTTP: bytes in, the same bytes out, and never a page."""

import hashlib

import pytest
from answers import codes, problem
from httpx import Response
from service_client import ServiceClient

PDF = b"%PDF-1.7\nphotograph of the seal lip"
DIGEST = hashlib.sha256(PDF).hexdigest()


def store(
    service: ServiceClient, body: bytes, media_type: str = "application/pdf", **headers: str
) -> Response:
    sent = {"Content-Type": media_type, **service.headers, **headers}
    return service.http.post("/v1/attachments", content=body, headers=sent)


def test_bytes_are_stored_once_and_come_back_as_a_file(service: ServiceClient) -> None:
    answer = store(service, PDF)
    made = answer.json()
    assert (answer.status_code, answer.headers["location"]) == (201, f"/v1/attachments/{DIGEST}")
    assert (made["sha256"], made["byte_count"]) == (DIGEST, len(PDF))
    again = store(service, PDF)
    assert (again.status_code, again.json()) == (200, made)
    found = service.get(f"/v1/attachments/{DIGEST}")
    assert (found.status_code, found.content) == (200, PDF)
    assert found.headers["content-type"] == "application/pdf"
    assert found.headers["etag"] == f'"{DIGEST}"'
    named = f'attachment; filename="{made["attachment_id"]}.pdf"'
    assert found.headers["content-disposition"] == named
    assert found.headers["x-content-type-options"] == "nosniff"
    assert found.headers["content-security-policy"] == "default-src 'none'; sandbox"
    head = service.http.head(f"/v1/attachments/{DIGEST}", headers=service.headers)
    assert (head.status_code, head.content) == (200, b"")


def test_a_text_that_holds_a_script_is_saved_and_not_shown(service: ServiceClient) -> None:
    body = b"<script>alert(1)</script>"
    made = store(service, body, "text/plain; charset=utf-8").json()
    found = service.get(f"/v1/attachments/{made['sha256']}")
    assert found.headers["content-type"].startswith("text/plain")
    assert found.headers["content-disposition"].startswith("attachment;")
    assert (found.content, made["media_type"]) == (body, "text/plain")


def test_the_same_bytes_keep_the_type_that_they_came_with_first(service: ServiceClient) -> None:
    first = store(service, b"cycle,decay_mpa\n", "text/csv").json()
    answer = store(service, b"cycle,decay_mpa\n", "text/plain")
    assert (answer.status_code, answer.json()) == (200, first)
    assert first["media_type"] == "text/csv"


@pytest.mark.parametrize("media_type", ["text/html", "image/svg+xml", "application/json", ""])
def test_other_kinds_of_file_are_refused(service: ServiceClient, media_type: str) -> None:
    answer = store(service, b"<svg/>", media_type)
    problem(answer, 415, "unsupported-media-type")
    assert codes(answer) == ["MEDIA_TYPE"]


def test_a_file_that_is_not_what_it_says_is_refused(service: ServiceClient) -> None:
    answer = store(service, b"<html></html>", "image/png")
    assert codes(answer) == ["MEDIA_TYPE"]
    problem(answer, 415, "unsupported-media-type")


def test_an_empty_body_and_a_changed_one_are_refused(service: ServiceClient) -> None:
    problem(store(service, b""), 400, "invalid-request")
    changed = {"Content-Digest": "sha-256=:" + "A" * 43 + "=:"}
    answer = store(service, PDF, **changed)
    assert codes(answer) == ["DIGEST_MISMATCH"]


def test_what_nobody_stored_is_not_found(service: ServiceClient) -> None:
    for name in ("ab" * 32, "x", "..%2F..%2Ftokens"):
        problem(service.get(f"/v1/attachments/{name}"), 404, "not-found")


def test_storing_and_reading_need_their_scopes(service: ServiceClient) -> None:
    reader = service.with_scopes(["lots.read"])
    problem(store(reader, PDF), 403, "not-allowed")
    writer = service.with_scopes(["results.write"])
    made = store(writer, PDF).json()
    problem(writer.get(f"/v1/attachments/{made['sha256']}"), 403, "not-allowed")
