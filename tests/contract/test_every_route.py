"""What holds for every route, those added later included."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from frame import bearer, frame
from litestar.testing import TestClient

from schemas.problems import PROBLEM_TYPES
from service.api.contract import operations
from service.auth import scope_of
from service.tokens import SCOPES

# No store is behind this application: what is tested must be refused before one is asked.
_APP = frame(Path("absent"))
_METHODS = ("GET", "POST", "PUT", "DELETE", "PATCH")
_OPEN = re.compile(
    r"/|/(healthz|readyz|problems|docs|sign-in|sign-out|static|v1/openapi\.json)(/.*)?"
)


def _routes() -> list[tuple[str, str, str | None]]:
    found = []
    for route in _APP.routes:
        for handler in route.route_handlers:
            for method in sorted(handler.http_methods - {"OPTIONS", "HEAD"}):
                path = re.sub(r"\{\w+:int\}", "1", route.path)
                found.append((method, re.sub(r"\{\w+:\w+\}", "x", path), scope_of(handler)))
    return sorted(found, key=str)


ROUTES = _routes()
GUARDED = [route for route in ROUTES if route[2] is not None]


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("contract")


@pytest.fixture(scope="module")
def client(data: Path) -> Iterator[TestClient[Any]]:
    with TestClient(frame(data)) as client:
        yield client


@pytest.fixture(scope="module")
def admin(data: Path) -> dict[str, str]:
    return bearer(data, ["admin"])


def assert_problem(answer: Any, slug: str) -> None:
    assert answer.status_code == PROBLEM_TYPES[slug].status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == f"/problems/{slug}"
    assert problem["title"] == PROBLEM_TYPES[slug].title
    assert problem["status"] == answer.status_code


def test_only_health_problems_documentation_and_signing_in_are_open() -> None:
    assert [path for _, path, scope in ROUTES if scope is None and not _OPEN.fullmatch(path)] == []


@pytest.mark.parametrize(("method", "path", "scope"), GUARDED)
def test_nobody_is_let_in_without_a_token(
    client: TestClient[Any], method: str, path: str, scope: str
) -> None:
    answer = client.request(method, path)
    assert_problem(answer, "not-authenticated")
    assert answer.headers["www-authenticate"] == 'Bearer realm="lotproof"'
    bad = client.request(method, path, headers={"Authorization": "Bearer lotproof_bad"})
    assert_problem(bad, "not-authenticated")


@pytest.mark.parametrize(("method", "path", "scope"), GUARDED)
def test_every_other_scope_together_is_not_enough(
    client: TestClient[Any], data: Path, method: str, path: str, scope: str
) -> None:
    others = [other for other in SCOPES if other not in (scope, "admin")]
    answer = client.request(method, path, headers=bearer(data, others))
    assert_problem(answer, "not-allowed")
    assert scope in answer.json()["detail"]


@pytest.mark.parametrize(("method", "path", "scope"), ROUTES)
def test_an_unknown_query_parameter_is_refused_by_name(
    client: TestClient[Any], admin: dict[str, str], method: str, path: str, scope: str
) -> None:
    answer = client.request(method, path, params={"unheard_of": "1"}, headers=admin)
    assert_problem(answer, "invalid-request")
    assert "unheard_of" in [error.get("parameter") for error in answer.json()["errors"]]


@pytest.mark.parametrize("path", sorted({path for _, path, _ in ROUTES}))
def test_a_method_that_a_path_does_not_take_is_refused_with_the_list(
    client: TestClient[Any], admin: dict[str, str], path: str
) -> None:
    taken = {method for method, other, _ in ROUTES if other == path}
    for method in set(_METHODS) - taken:
        answer = client.request(method, path, headers=admin)
        assert_problem(answer, "method-not-allowed")
        assert taken <= set(answer.headers["allow"].split(", "))


@pytest.mark.parametrize("path", sorted({path for _, path, _ in ROUTES}))
def test_below_a_path_there_is_nothing_unless_it_is_a_route(
    client: TestClient[Any], admin: dict[str, str], path: str
) -> None:
    answer = client.get(f"{path}/unheard/of/altogether", headers=admin)
    assert_problem(answer, "not-found")


def test_there_is_no_patch() -> None:
    assert [path for method, path, _ in ROUTES if method == "PATCH"] == []


_WITH_JSON = [o for o in operations(_APP) if o.body_type is not None]


@pytest.mark.parametrize("operation", _WITH_JSON, ids=lambda o: o.handler.operation_id)
def test_every_json_body_is_read_strictly(
    client: TestClient[Any], admin: dict[str, str], operation: Any
) -> None:
    path = re.sub(r"\{(version)\}", "1", operation.path)
    path = re.sub(r"\{\w+\}", "x", path)
    required = {
        p.name: "x" for p in operation.parameters if p.place == "header"
    }  # a precondition is looked at after the body

    def send(raw: str, media_type: str = "application/json") -> Any:
        headers = {**admin, **required, "Content-Type": media_type}
        return client.request(operation.method.upper(), path, content=raw, headers=headers)

    assert_problem(send("{}", "text/plain"), "unsupported-media-type")
    assert_problem(send("{"), "invalid-request")
    assert_problem(send(""), "invalid-request")
    assert_problem(send("7"), "invalid-request")
    unknown = send('{"unheard_of": 1}')
    assert_problem(unknown, "invalid-request")
    assert unknown.json()["errors"][0]["code"] in (
        "UNKNOWN_FIELD",
        "MISSING_FIELD",
        "INVALID_VALUE",
    )
