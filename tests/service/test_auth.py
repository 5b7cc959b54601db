"""Who may do what, with a bearer token or a browser's cookie."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from frame import bearer, frame_with
from litestar import get, post
from litestar.di import NamedDependency
from litestar.testing import TestClient

from service.auth import requires, scope_of
from service.sessions import SESSION_COOKIE
from service.tokens import SCOPES, Actor, create_token, list_tokens, revoke_token


@get("/reading", guards=[requires("lots.read")])
async def read(actor: NamedDependency[Actor]) -> dict[str, Any]:
    return {"name": actor.name, "kind": actor.kind, "scopes": sorted(actor.scopes)}


@post("/writing", guards=[requires("lots.write")])
async def write(actor: NamedDependency[Actor]) -> dict[str, Any]:
    return {"name": actor.name}


@post("/reading-by-post", guards=[requires("lots.read")])
async def compute() -> dict[str, Any]:
    return {}


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient[Any]]:
    with frame_with([read, write, compute], tmp_path) as client:
        yield client


def signed_in(client: TestClient[Any], actor: Actor) -> None:
    cookie = client.app.state.sessions.open(actor)
    client.cookies.set(SESSION_COOKIE, cookie)


READER = Actor(name="Visitor", kind="PERSON", scopes=frozenset({"lots.read"}))


def test_the_actor_of_a_token_reaches_the_handler(client: TestClient[Any], tmp_path: Path) -> None:
    answer = client.get("/v1/trial/reading", headers=bearer(tmp_path, ["lots.read"]))
    assert answer.json() == {"name": "Test bench", "kind": "SYSTEM", "scopes": ["lots.read"]}


def test_admin_may_everything(client: TestClient[Any], tmp_path: Path) -> None:
    headers = bearer(tmp_path, ["admin"])
    assert client.get("/v1/trial/reading", headers=headers).status_code == 200
    assert client.post("/v1/trial/writing", headers=headers).status_code == 201


@pytest.mark.parametrize(
    "header", [None, "", "Bearer", "Bearer ", "Bearer lotproof_x", "Basic eDp5", "lotproof_x"]
)
def test_without_a_known_token_the_answer_is_401_with_a_challenge(
    client: TestClient[Any], header: str | None
) -> None:
    headers = {} if header is None else {"Authorization": header}
    answer = client.get("/v1/trial/reading", headers=headers)
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"].startswith("Bearer ")
    assert answer.json()["type"] == "/problems/not-authenticated"


def test_a_token_without_the_scope_is_told_which_one_it_lacks(
    client: TestClient[Any], tmp_path: Path
) -> None:
    answer = client.post("/v1/trial/writing", headers=bearer(tmp_path, ["lots.read"]))
    assert answer.status_code == 403
    assert "lots.write" in answer.json()["detail"]


def test_a_cookie_reads_and_never_writes(client: TestClient[Any]) -> None:
    everything = Actor(name="Visitor", kind="PERSON", scopes=frozenset(SCOPES))
    signed_in(client, everything)
    assert client.get("/v1/trial/reading").status_code == 200
    assert client.head("/v1/trial/reading").status_code == 200
    assert client.post("/v1/trial/writing").status_code == 401
    assert client.post("/v1/trial/reading-by-post").status_code == 401


def test_a_bad_token_is_refused_even_beside_a_good_cookie(client: TestClient[Any]) -> None:
    signed_in(client, READER)
    headers = {"Authorization": "Bearer lotproof_x"}
    assert client.get("/v1/trial/reading", headers=headers).status_code == 401


def test_a_session_ends_when_the_token_that_opened_it_is_revoked(
    client: TestClient[Any], tmp_path: Path
) -> None:
    _, text = create_token(tmp_path, name="Engineer", kind="PERSON", scopes=["lots.read"])
    assert client.post("/sign-in", data={"token": text}).status_code == 200
    assert client.get("/v1/trial/reading").status_code == 200
    revoke_token(tmp_path, list_tokens(tmp_path)[0].token_id)
    assert client.get("/v1/trial/reading").status_code == 401


def test_a_route_without_a_scope_cannot_be_registered_by_accident(tmp_path: Path) -> None:
    @get("/forgotten")
    async def forgotten() -> None: ...

    with frame_with([forgotten], tmp_path) as client:
        handler = next(
            h
            for route in client.app.routes
            if route.path == "/v1/trial/forgotten"
            for h in route.route_handlers
            if "GET" in h.http_methods
        )
        with pytest.raises(ValueError, match="exactly one scope or says that it is open"):
            scope_of(handler)


def test_a_scope_that_does_not_exist_is_refused_at_once() -> None:
    with pytest.raises(ValueError, match=r"'lots\.delete' is no scope"):
        requires("lots.delete")  # type: ignore[arg-type]
