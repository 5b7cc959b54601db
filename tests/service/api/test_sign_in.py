"""Signing a browser in, by a one-time link or a pasted token."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from frame import bearer, frame
from litestar.testing import TestClient

from service.app import issue_sign_in_code
from service.sessions import MAX_FAILED_ATTEMPTS, SESSION_COOKIE
from service.tokens import Actor, create_token

READER = Actor(name="Demo visitor", kind="PERSON", scopes=frozenset({"lots.read"}))


def client_of(data: Path, address: str, *, demo_sign_in: bool) -> TestClient[Any]:
    app = frame(data, demo_sign_in=demo_sign_in)
    inner = app.asgi_handler

    async def from_address(scope: Any, receive: Any, send: Any) -> None:
        await inner({**scope, "client": (address, 50_000)}, receive, send)

    app.asgi_handler = from_address
    return TestClient(app, base_url="http://bench.local")


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[TestClient[Any]]:
    with client_of(tmp_path, "127.0.0.1", demo_sign_in=True) as client:
        yield client


def test_a_link_signs_in_once(demo: TestClient[Any]) -> None:
    link = f"/sign-in?code={issue_sign_in_code(demo.app, READER)}"
    answer = demo.get(link)
    assert answer.status_code == 200
    cookie = answer.headers["set-cookie"].lower()
    assert cookie.startswith(f"{SESSION_COOKIE}=")
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert demo.app.state.sessions.find(demo.cookies[SESSION_COOKIE]) == READER
    assert demo.get(link).status_code == 401


@pytest.mark.parametrize("address", ["10.0.0.7", "::ffff:10.0.0.7", "", "testclient"])
def test_a_link_counts_on_this_computer_only(tmp_path: Path, address: str) -> None:
    with client_of(tmp_path, address, demo_sign_in=True) as client:
        code = issue_sign_in_code(client.app, READER)
        assert client.get(f"/sign-in?code={code}").status_code == 401


def test_a_forwarded_address_makes_nobody_local(tmp_path: Path) -> None:
    with client_of(tmp_path, "10.0.0.7", demo_sign_in=True) as client:
        code = issue_sign_in_code(client.app, READER)
        headers = {"X-Forwarded-For": "127.0.0.1", "Forwarded": "for=127.0.0.1"}
        assert client.get(f"/sign-in?code={code}", headers=headers).status_code == 401


def test_a_link_counts_in_the_demo_only(tmp_path: Path) -> None:
    with client_of(tmp_path, "127.0.0.1", demo_sign_in=False) as client:
        code = issue_sign_in_code(client.app, READER)
        assert client.get(f"/sign-in?code={code}").status_code == 401


def test_a_pasted_token_opens_a_session_that_only_reads(
    demo: TestClient[Any], tmp_path: Path
) -> None:
    made, text = create_token(tmp_path, name="Engineer", kind="PERSON", scopes=["admin"])
    assert demo.post("/sign-in", data={"token": f" {text}\n"}).status_code == 200
    actor = demo.app.state.sessions.find(demo.cookies[SESSION_COOKIE])
    assert actor == Actor(
        name="Engineer",
        kind="PERSON",
        scopes=frozenset({"lots.read"}),
        token_id=made.token_id,
    )


def test_a_token_that_may_not_read_or_is_unknown_opens_nothing(
    demo: TestClient[Any], tmp_path: Path
) -> None:
    rig = bearer(tmp_path, ["results.write"])["Authorization"].removeprefix("Bearer ")
    for text in (rig, "lotproof_x", ""):
        answer = demo.post("/sign-in", data={"token": text})
        assert answer.status_code == 401
        assert "set-cookie" not in answer.headers
        assert 'role="alert"' in answer.text


def test_a_form_of_another_site_signs_nobody_in(demo: TestClient[Any], tmp_path: Path) -> None:
    text = bearer(tmp_path, ["lots.read"])["Authorization"].removeprefix("Bearer ")
    elsewhere, here = {"Origin": "http://elsewhere.test"}, {"Origin": "http://bench.local"}
    assert demo.post("/sign-in", data={"token": text}, headers=elsewhere).status_code == 401
    assert demo.post("/sign-in", data={"token": text}, headers=here).status_code == 200


def test_guessing_is_braked_with_retry_after(demo: TestClient[Any]) -> None:
    for _ in range(MAX_FAILED_ATTEMPTS):
        assert demo.get("/sign-in?code=guess").status_code == 401
    answer = demo.get("/sign-in?code=guess")
    assert answer.status_code == 429
    assert answer.json()["type"] == "/problems/too-many-requests"
    assert 1 <= int(answer.headers["retry-after"]) <= 60


def test_signing_out_ends_the_session(demo: TestClient[Any]) -> None:
    demo.get(f"/sign-in?code={issue_sign_in_code(demo.app, READER)}")
    cookie = demo.cookies[SESSION_COOKIE]
    assert demo.post("/sign-out", follow_redirects=False).status_code == 303
    assert demo.app.state.sessions.find(cookie) is None
