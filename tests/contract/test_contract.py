"""The contract says what the service does."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from frame import frame
from litestar import get
from litestar.testing import TestClient

from schemas.problems import PROBLEM_TYPES
from service.api.contract import ContractError, build_contract, contract_text, operations
from service.api.strict import json_body_type
from service.auth import scope_of

APP = frame(Path("absent"))
DOCUMENT = build_contract(APP)
OPERATIONS: list[tuple[str, dict[str, Any]]] = [
    (f"{method.upper()} {path}", operation)
    for path, methods in DOCUMENT["paths"].items()
    for method, operation in methods.items()
]


@pytest.mark.parametrize(("name", "operation"), OPERATIONS)
def test_every_operation_is_named_explained_and_guarded(
    name: str, operation: dict[str, Any]
) -> None:
    assert operation["operationId"].isidentifier()
    assert operation["summary"]
    assert operation["summary"][0].isupper()
    assert operation["tags"]
    assert bool(operation["security"]) == (operation["x-scope"] is not None)
    if operation["x-scope"]:
        assert f"`{operation['x-scope']}`" in operation["description"]


@pytest.mark.parametrize(("name", "operation"), OPERATIONS)
def test_every_operation_lists_its_problems_in_the_one_shape(
    name: str, operation: dict[str, Any]
) -> None:
    responses = operation["responses"]
    wanted = {"400", "404", "500"} | ({"401", "403"} if operation["x-scope"] else set())
    if "requestBody" in operation:
        wanted |= {"413", "415"}
    assert wanted <= responses.keys()
    for status, response in responses.items():
        if status >= "400":
            assert response["content"] == {
                "application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}
            }
            assert "/problems/" in response["description"]


def test_every_parameter_says_what_it_means() -> None:
    silent = [
        (name, parameter["name"])
        for name, operation in OPERATIONS
        for parameter in operation.get("parameters", [])
        if not parameter.get("description") and not parameter["schema"].get("description")
    ]
    assert silent == []


def test_every_reference_leads_to_a_schema() -> None:
    def references(node: Any) -> set[str]:
        if isinstance(node, dict):
            own = {node["$ref"]} if "$ref" in node else set()
            return own.union(*(references(child) for child in node.values()))
        if isinstance(node, list):
            return set().union(*(references(child) for child in node))
        return set()

    known = {f"#/components/schemas/{name}" for name in DOCUMENT["components"]["schemas"]}
    assert references(DOCUMENT) <= known


def test_every_schema_is_a_valid_json_schema() -> None:
    for schema in DOCUMENT["components"]["schemas"].values():
        jsonschema.Draft202012Validator.check_schema(schema)


def test_every_body_that_is_read_refuses_unknown_fields_and_says_so() -> None:
    schemas = DOCUMENT["components"]["schemas"]
    for operation in operations(APP):
        body = json_body_type(operation.handler)
        if body is None:
            continue
        described = DOCUMENT["paths"][operation.path][operation.method]["requestBody"]
        schema = described["content"]["application/json"]["schema"]
        for choice in schema.get("anyOf", [schema]):
            name = choice["$ref"].rsplit("/", 1)[1]
            assert schemas[name]["additionalProperties"] is False, name


def test_only_the_open_routes_need_no_token() -> None:
    open_ones = {name for name, operation in OPERATIONS if operation["x-scope"] is None}
    assert open_ones == {"GET /healthz", "GET /readyz", "GET /v1/openapi.json"}


def test_every_route_of_the_interface_is_in_the_contract() -> None:
    described = {name for name, _ in OPERATIONS}
    served = {
        f"{method} {route.path_format}"
        for route in APP.routes
        if route.path.startswith("/v1/")
        for handler in route.route_handlers
        for method in handler.http_methods - {"OPTIONS", "HEAD"}
    }
    assert served <= described


def test_the_served_contract_is_the_exported_one(tmp_path: Path) -> None:
    with TestClient(frame(tmp_path)) as client:
        answer = client.get("/v1/openapi.json")
    assert answer.headers["content-type"].startswith("application/vnd.oai.openapi+json")
    assert answer.text == contract_text(APP)


def test_the_committed_contract_is_current(repository: Path) -> None:
    committed = repository / "openapi" / "openapi.json"
    if committed.exists():
        assert json.loads(committed.read_text(encoding="utf-8")) == json.loads(contract_text(APP))


def test_a_route_without_an_id_cannot_be_described(tmp_path: Path) -> None:
    @get("/v1/nameless", opt={"open": True})
    async def nameless() -> None: ...

    app = frame(tmp_path)
    app.register(nameless)
    with pytest.raises(ContractError, match=r"GET /v1/nameless needs an operation_id"):
        build_contract(app)


def test_every_kind_of_problem_is_explained_and_has_a_fixed_title() -> None:
    titles = [kind.title for kind in PROBLEM_TYPES.values()]
    assert len(set(titles)) == len(titles)
    for kind in PROBLEM_TYPES.values():
        assert 400 <= kind.status <= 599
        assert kind.meaning.endswith(".")
        assert kind.remedy.endswith(".")


def test_every_scope_is_a_known_one() -> None:
    for operation in operations(APP):
        scope_of(operation.handler)
