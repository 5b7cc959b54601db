"""Bodies and query parameters are taken exactly as declared or refused with their place."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from frame import bearer, frame_with
from litestar import get, post
from litestar.params import FromQuery, JSONBody, QueryParameter
from litestar.testing import TestClient
from msgspec import Meta, Struct

from service.api.strict import REQUEST_MEDIA_TYPE
from service.auth import requires

Fraction = Annotated[float, Meta(gt=0, lt=1)]


class Stage(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    unit_count: Annotated[int, Meta(ge=1)]


class Plan(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    reliability: Fraction
    label: int | str = ""
    stages: list[Stage] = []
    by_rig: dict[str, int] = {}


@post("/plans", guards=[requires("lots.read")])
async def take_plan(data: JSONBody[Plan]) -> dict[str, Any]:
    return {"reliability": data.reliability, "label": data.label, "type": type(data).__name__}


@post("/files", guards=[requires("lots.read")], opt={REQUEST_MEDIA_TYPE: "application/x-trial"})
async def take_file() -> dict[str, str]:
    return {}


@get("/sums", guards=[requires("lots.read")])
async def read_sums(
    reliability: FromQuery[Fraction],
    unit_count: Annotated[int, QueryParameter(ge=1)] = 1,
    at_cycles: FromQuery[float | None] = None,
    kind: FromQuery[Literal["A", "B"] | None] = None,
    shape: FromQuery[list[float] | None] = None,
) -> dict[str, Any]:
    return {"reliability": reliability, "unit_count": unit_count, "shape": shape}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient[Any]]:
    data: Path = tmp_path_factory.mktemp("strict")
    with frame_with([take_plan, take_file, read_sums], data) as client:
        client.headers.update(bearer(data, ["lots.read"]))
        yield client


def post_raw(client: TestClient[Any], raw: str | bytes, **headers: str) -> Any:
    headers = {"Content-Type": "application/json"} | {
        k.replace("_", "-"): v for k, v in headers.items()
    }
    return client.post("/v1/trial/plans", content=raw, headers=headers)


def test_a_right_body_reaches_the_handler_as_its_type(client: TestClient[Any]) -> None:
    answer = post_raw(client, '{"reliability": 0.9, "label": "5"}')
    assert answer.status_code == 201
    # The text "5" is still a text: no second, lenient reading made it a number.
    assert answer.json() == {"reliability": 0.9, "label": "5", "type": "Plan"}


@pytest.mark.parametrize(
    ("raw", "code", "pointer", "suggestion"),
    [
        ('{"reliability": "0.9"}', "INVALID_VALUE", "/reliability", None),
        ('{"reliability": 1}', "INVALID_VALUE", "/reliability", None),
        ('{"reliability": null}', "INVALID_VALUE", "/reliability", None),
        ('{"reliability": 0.9, "stages": [{"unit_count": 1}, {"unit_count": "2"}]}',
         "INVALID_VALUE", "/stages/1/unit_count", None),
        ('{"reliability": 0.9, "stages": [{}]}', "MISSING_FIELD", "/stages/0", None),
        ('{"reliability": 0.9, "stages": [{"unit_cout": 1}]}',
         "UNKNOWN_FIELD", "/stages/0/unit_cout", "unit_count"),
        ('{"reliabilty": 0.9}', "UNKNOWN_FIELD", "/reliabilty", "reliability"),
        ('{"reliability": 0.9, "a/b~c": 1}', "UNKNOWN_FIELD", "/a~1b~0c", None),
        ('{"reliability": 0.9, "by_rig": {"RIG-A": "1"}}', "INVALID_VALUE", "/by_rig", None),
        ("{}", "MISSING_FIELD", "", None),
        ("[]", "INVALID_VALUE", "", None),
        ('{"reliability": NaN}', "BODY_NOT_JSON", "", None),
        ('{"reliability": 1e400}', "INVALID_VALUE", "/reliability", None),
        ("{", "BODY_NOT_JSON", "", None),
        # Cut off behind a field that does not exist: the cut is what the sender must know of.
        ('{"no_such_field":', "BODY_NOT_JSON", "", None),
        (b'{"label": "\xff"}', "BODY_NOT_JSON", "", None),
        ("", "BODY_MISSING", "", None),
        ("[" * 100_000, "INVALID_VALUE", "", None),
    ],
)  # fmt: skip
def test_a_wrong_body_is_refused_with_the_place_of_the_fault(
    client: TestClient[Any], raw: str | bytes, code: str, pointer: str, suggestion: str | None
) -> None:
    answer = post_raw(client, raw)
    assert answer.status_code == 400, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == "/problems/invalid-request"
    [error] = problem["errors"]
    assert error["code"] == code
    assert error.get("pointer") == pointer
    assert error.get("suggestion") == suggestion


@pytest.mark.parametrize(
    "media_type", ["text/plain", "application/xml", "", "application/json; charset=latin-1"]
)
def test_another_media_type_is_refused_before_the_body_is_read(
    client: TestClient[Any], media_type: str
) -> None:
    answer = post_raw(client, '{"reliability": 0.9}', Content_Type=media_type)
    assert answer.status_code == 415
    assert answer.json()["type"] == "/problems/unsupported-media-type"


def test_the_charset_of_json_may_be_said(client: TestClient[Any]) -> None:
    answer = post_raw(
        client, '{"reliability": 0.9}', Content_Type="application/json; charset=UTF-8"
    )
    assert answer.status_code == 201


def test_a_content_encoding_is_refused(client: TestClient[Any]) -> None:
    assert post_raw(client, b"\x1f\x8b", Content_Encoding="gzip").status_code == 415


def test_a_raw_body_must_have_the_media_type_of_its_route(client: TestClient[Any]) -> None:
    def sent(media_type: str) -> int:
        headers = {"Content-Type": media_type}
        return client.post("/v1/trial/files", content=b"x", headers=headers).status_code

    assert sent("application/x-trial") == 201
    assert sent("application/json") == 415


def test_a_body_above_the_limit_is_too_large(client: TestClient[Any]) -> None:
    answer = post_raw(client, b" " * (8 * 1024**2 + 1))
    assert answer.status_code == 413
    assert answer.json()["type"] == "/problems/too-large"


def test_right_parameters_are_converted(client: TestClient[Any]) -> None:
    answer = client.get("/v1/trial/sums?reliability=9e-1&unit_count=3&shape=2&shape=2.5")
    assert answer.json() == {"reliability": 0.9, "unit_count": 3, "shape": [2.0, 2.5]}


@pytest.mark.parametrize(
    ("query", "code", "name"),
    [
        ("reliabilty=0.9", "UNKNOWN_PARAMETER", "reliabilty"),
        ("", "MISSING_PARAMETER", "reliability"),
        ("reliability=0.9&reliability=0.8", "REPEATED_PARAMETER", "reliability"),
        ("reliability=", "NOT_A_NUMBER", "reliability"),
        ("reliability=nan", "NOT_A_NUMBER", "reliability"),
        ("reliability=0.9&at_cycles=inf", "NOT_A_NUMBER", "at_cycles"),
        ("reliability=0.9&at_cycles=1e999", "NOT_A_NUMBER", "at_cycles"),
        ("reliability=0.9&at_cycles=null", "NOT_A_NUMBER", "at_cycles"),
        ("reliability=0.9&at_cycles=0x10", "NOT_A_NUMBER", "at_cycles"),
        ("reliability=1", "INVALID_VALUE", "reliability"),
        ("reliability=0.9&unit_count=0", "INVALID_VALUE", "unit_count"),
        ("reliability=0.9&unit_count=1.5", "INVALID_VALUE", "unit_count"),
        ("reliability=0.9&kind=C", "INVALID_VALUE", "kind"),
        ("reliability=0.9&shape=2&shape=x", "INVALID_VALUE", "shape"),
    ],
)
def test_a_wrong_parameter_is_refused_by_name(
    client: TestClient[Any], query: str, code: str, name: str
) -> None:
    answer = client.get(f"/v1/trial/sums?{query}")
    assert answer.status_code == 400, answer.text
    assert (code, name) in [(e["code"], e["parameter"]) for e in answer.json()["errors"]]


def test_all_wrong_parameters_are_named_at_once(client: TestClient[Any]) -> None:
    answer = client.get("/v1/trial/sums?reliability=2&unit_count=0&colour=red")
    named = {error["parameter"] for error in answer.json()["errors"]}
    assert named == {"reliability", "unit_count", "colour"}
