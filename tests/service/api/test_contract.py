"""What the contract makes of a route: bounds, refusals, bodies, headers, problems."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import pytest
from frame import frame
from litestar import Response, Router, get, post
from litestar.params import FromPath, FromQuery, HeaderParameter, JSONBody
from msgspec import Meta, Struct

from schemas.paging import Page
from service.api.contract import PROBLEMS, ContractError, build_contract
from service.api.paging import PAGING, PagingGiven
from service.api.strict import REQUEST_MEDIA_TYPE
from service.auth import requires

Fraction = Annotated[float, Meta(gt=0, lt=1, description="A fraction.")]


class Weibayes(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="WEIBAYES"):
    shape: Annotated[float, Meta(gt=0)] | None = None


class Attribute(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="ATTRIBUTE"):
    unit_count: Annotated[int, Meta(ge=1)]


class Draft(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    plan: Weibayes | Attribute


class Receipt(Struct, frozen=True, kw_only=True):
    upload_id: str


@post(
    "/drafts/{draft_id:str}",
    guards=[requires("lots.write")],
    operation_id="change_draft",
    summary="Change a draft",
    opt={PROBLEMS: ["stale-version", "conflict", "spec-frozen"]},
)
async def change_draft(
    draft_id: FromPath[Annotated[str, Meta(description="Which draft.")]],
    data: JSONBody[Draft],
    if_match: Annotated[str | None, HeaderParameter(name="If-Match")] = None,
) -> Response[Draft]:
    """What a draft is."""
    raise NotImplementedError


@post(
    "/files",
    guards=[requires("results.write")],
    operation_id="post_file",
    summary="Post a file",
    opt={REQUEST_MEDIA_TYPE: "application/vnd.apache.parquet"},
)
async def post_file() -> Receipt:
    raise NotImplementedError


@get(
    "/receipts",
    guards=[requires("lots.read")],
    operation_id="list_receipts",
    summary="List receipts",
    dependencies=PAGING,
)
async def list_receipts(
    paging: PagingGiven, reliability: FromQuery[Fraction | None] = None
) -> Page[Receipt]:
    raise NotImplementedError


def document_with(tmp_path: Path, *handlers: Any) -> dict[str, Any]:
    app = frame(tmp_path)
    app.register(Router("/v1/trial", route_handlers=list(handlers)))
    return build_contract(app)


@pytest.fixture(scope="module")
def document(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    data = tmp_path_factory.mktemp("contract")
    return document_with(data, change_draft, post_file, list_receipts)


def test_bounds_inside_a_union_and_refused_fields_are_kept(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    assert schemas["Weibayes"]["properties"]["shape"]["anyOf"] == [
        {"type": "number", "exclusiveMinimum": 0},
        {"type": "null"},
    ]
    assert schemas["Draft"]["additionalProperties"] is False
    assert "additionalProperties" not in schemas["Receipt"]


def test_a_union_of_plans_says_how_they_are_told_apart(document: dict[str, Any]) -> None:
    plan = document["components"]["schemas"]["Draft"]["properties"]["plan"]
    assert plan["discriminator"]["propertyName"] == "type"


def test_paths_lose_the_framework_s_types_and_parameters_keep_their_place(
    document: dict[str, Any],
) -> None:
    operation = document["paths"]["/v1/trial/drafts/{draft_id}"]["post"]
    assert [(p["in"], p["name"], p["required"]) for p in operation["parameters"]] == [
        ("path", "draft_id", True),
        ("header", "If-Match", False),
    ]
    assert operation["parameters"][0]["description"] == "Which draft."


def test_a_query_parameter_has_its_bounds_and_default(document: dict[str, Any]) -> None:
    operation = document["paths"]["/v1/trial/receipts"]["get"]
    by_name = {p["name"]: p["schema"] for p in operation["parameters"]}
    assert by_name["limit"] == {"type": "integer", "minimum": 1, "default": 50}
    fraction, nothing = by_name["reliability"]["anyOf"]
    assert (fraction["exclusiveMinimum"], fraction["exclusiveMaximum"]) == (0, 1)
    assert nothing == {"type": "null"}


def test_bodies_json_and_raw_are_described(document: dict[str, Any]) -> None:
    draft = document["paths"]["/v1/trial/drafts/{draft_id}"]["post"]["requestBody"]
    assert draft == {
        "required": True,
        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Draft"}}},
    }
    file = document["paths"]["/v1/trial/files"]["post"]["requestBody"]
    assert file == {"required": True, "content": {"application/vnd.apache.parquet": {}}}


def test_answers_are_described_by_what_is_inside_the_response(document: dict[str, Any]) -> None:
    created = document["paths"]["/v1/trial/drafts/{draft_id}"]["post"]["responses"]["201"]
    schema = {"$ref": "#/components/schemas/Draft"}
    assert created == {
        "description": "Created",
        "content": {"application/json": {"schema": schema}},
    }


def test_problems_of_one_status_stand_together(document: dict[str, Any]) -> None:
    responses = document["paths"]["/v1/trial/drafts/{draft_id}"]["post"]["responses"]
    assert list(responses) == ["201", "400", "401", "403", "404", "409", "412", "413", "415", "500"]
    assert "/problems/conflict" in responses["409"]["description"]
    assert "/problems/spec-frozen" in responses["409"]["description"]


def test_an_unknown_kind_of_problem_is_refused(tmp_path: Path) -> None:
    @get("/x", opt={"open": True, PROBLEMS: ["on-fire"]}, operation_id="x", summary="X")
    async def wrong() -> None: ...

    with pytest.raises(ContractError, match="on-fire"):
        document_with(tmp_path, wrong)


def test_two_operations_cannot_share_an_id(tmp_path: Path) -> None:
    @get("/x", opt={"open": True}, operation_id="same", summary="X")
    async def one() -> None: ...

    @get("/y", opt={"open": True}, operation_id="same", summary="Y")
    async def two() -> None: ...

    with pytest.raises(ContractError, match="both called 'same'"):
        document_with(tmp_path, one, two)
