"""Every error of every route has one shape and leaks nothing."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from typing import Any

import pytest
from frame import frame_with
from litestar import get
from litestar.params import FromPath
from litestar.testing import TestClient

from analysis.errors import DidNotConvergeError, OutsideDomainError
from schemas.problems import PROBLEM_TYPES, Problem, ProblemError
from service import errors

RAISED: dict[str, Exception] = {
    "not-found": errors.NotFound("lot", "lot_1"),
    "conflict": errors.AlreadyExists("lot", "CC25-0117"),
    "not-decidable": errors.NotDecidable("The lot stands at CONTINUE."),
    "spec-frozen": errors.SpecFrozen("CC25-Q1", 3),
    "stale-version": errors.StaleVersion(),
    "precondition-required": errors.PreconditionRequired(),
    "upload-refused": errors.UploadRefused(
        [ProblemError(code="NOT_FINITE", detail="Not finite.", column="x", rows=[1], row_count=9)]
    ),
    "busy": errors.StorageBusy(retry_after_s=3),
    "outside-domain": OutsideDomainError("confidence", 1.0, "between 0 and 1"),
    "internal": RuntimeError("SELECT secret FROM /var/lib/lotproof"),
}


@get("/raise/{slug:str}", opt={"open": True})
async def fail(slug: FromPath[str]) -> None:
    raise RAISED[slug]


@get("/diverge", opt={"open": True})
async def diverge() -> None:
    raise DidNotConvergeError("maximum", "tried 3 starts")


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient[Any]]:
    with frame_with([fail, diverge], tmp_path_factory.mktemp("problems")) as client:
        yield client


@pytest.mark.parametrize("slug", RAISED)
def test_each_exception_is_told_as_its_kind(client: TestClient[Any], slug: str) -> None:
    answer = client.get(f"/v1/trial/raise/{slug}")
    kind = PROBLEM_TYPES[slug]
    assert answer.status_code == kind.status
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == f"/problems/{slug}"
    assert problem["title"] == kind.title
    assert problem["status"] == kind.status
    assert problem["instance"] == f"/v1/trial/raise/{slug}"
    assert set(problem) <= set(Problem.__struct_fields__)


def test_findings_of_a_table_keep_column_rows_and_count(client: TestClient[Any]) -> None:
    [error] = client.get("/v1/trial/raise/upload-refused").json()["errors"]
    assert error == {
        "code": "NOT_FINITE",
        "detail": "Not finite.",
        "column": "x",
        "rows": [1],
        "row_count": 9,
    }


def test_busy_says_when_to_come_back(client: TestClient[Any]) -> None:
    assert client.get("/v1/trial/raise/busy").headers["retry-after"] == "3"


def test_an_unexpected_error_tells_an_incident_id_and_nothing_else(
    client: TestClient[Any], caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR):
        answer = client.get("/v1/trial/raise/internal")
    incident = answer.json()["incident_id"]
    assert "secret" not in answer.text
    assert "RuntimeError" not in answer.text
    [record] = [r for r in caplog.records if incident in r.getMessage()]
    assert record.exc_info is not None


def test_a_method_that_gave_up_and_escaped_is_a_fault_of_ours(client: TestClient[Any]) -> None:
    answer = client.get("/v1/trial/diverge")
    assert answer.status_code == 500
    assert "tried" not in answer.text


@pytest.mark.parametrize("path", ["/nothing", "/v1/nothing", "/v1/trial/raise/a/b", "/healthz/x"])
def test_an_unknown_path_is_not_found(client: TestClient[Any], path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert answer.json()["type"] == "/problems/not-found"


def test_a_wrong_method_is_told_which_ones_are_right(client: TestClient[Any]) -> None:
    answer = client.delete("/healthz")
    assert answer.status_code == 405
    assert answer.json()["type"] == "/problems/method-not-allowed"
    assert set(answer.headers["allow"].split(", ")) == {"GET", "HEAD", "OPTIONS"}


def test_options_and_head_are_answered_where_get_is(client: TestClient[Any]) -> None:
    assert set(client.options("/healthz").headers["allow"].split(", ")) == {
        "GET", "HEAD", "OPTIONS",
    }  # fmt: skip
    got, head = client.get("/healthz"), client.head("/healthz")
    assert head.status_code == 200
    assert head.content == b""
    assert head.headers["content-length"] == got.headers["content-length"]


def test_a_browser_gets_a_page_outside_the_interface_and_json_inside(
    client: TestClient[Any],
) -> None:
    headers = {"Accept": "text/html,application/xhtml+xml"}
    page = client.get("/nothing", headers=headers)
    assert page.status_code == 404
    assert page.headers["content-type"].startswith("text/html")
    assert (
        client.get("/v1/nothing", headers=headers)
        .headers["content-type"]
        .startswith("application/problem+json")
    )


def test_what_a_page_repeats_is_escaped(client: TestClient[Any]) -> None:
    headers = {"Accept": "text/html"}
    page = client.get("/problems/%3Cscript%3E", headers=headers)
    assert "<script>" not in page.text


def test_a_path_that_holds_braces_or_percent_is_still_a_plain_404(client: TestClient[Any]) -> None:
    assert client.get("/v1/%7Bx%7D/%25s").status_code == 404
