"""The client asks for what the contract names, and says in words what was refused."""

import base64
import hashlib
import json
from pathlib import Path
from typing import Any

import pytest

from service.demo.client import DemoClient, Refused


def test_a_table_goes_out_whole_with_its_media_type_and_digest(
    stub: tuple[Any, str], tmp_path: Path
) -> None:
    service, url = stub
    content = bytes(range(256)) * 1_000
    (tmp_path / "rows.parquet").write_bytes(content)
    blocks: list[int] = []
    with DemoClient(url, "secret") as client:
        client.upload(tmp_path / "rows.parquet", sent=blocks.append)
    ((method, path, headers, body),) = service.requests
    assert (method, path, body) == ("POST", "/v1/uploads", content)
    assert headers["Content-Type"] == "application/vnd.apache.parquet"
    assert headers["Content-Length"] == str(len(content))
    digest = base64.b64encode(hashlib.sha256(content).digest()).decode()
    assert headers["Content-Digest"] == f"sha-256=:{digest}:"
    assert headers["Authorization"] == "Bearer secret"
    assert sum(blocks) == len(content) and len(blocks) > 1


def test_a_draft_is_approved_and_an_approved_specification_is_left_alone(
    stub: tuple[Any, str],
) -> None:
    service, url = stub
    with DemoClient(url, "secret") as client:
        assert client.approved_spec({"spec_id": "CC25-Q1"}, reason="demo") == 1
        service.answers["/v1/specs"] = (200, {"version": 3, "state": "APPROVED"})
        assert client.approved_spec({"spec_id": "CC25-Q1"}, reason="demo") == 3
    assert service.paths == [
        "POST /v1/specs",
        "PUT /v1/specs/CC25-Q1/versions/1/approval",
        "POST /v1/specs",
    ]
    assert json.loads(service.requests[1][3]) == {"meaning": "approved for use", "reason": "demo"}


def test_an_evaluation_is_read_and_what_the_demo_does_not_show_is_ignored(
    stub: tuple[Any, str], right_evaluations: dict[str, dict[str, Any]]
) -> None:
    service, url = stub
    service.evaluations = right_evaluations
    with DemoClient(url, "secret") as client:
        seen = client.evaluation("lot_L06")
    assert seen.verdict == "ACCEPT"
    assert [hold.name for hold in seen.holds] == ["CONFLICTING_ROWS"]
    assert seen.variables is not None
    assert seen.variables.reliability_lower_worst == 0.953


def test_a_problem_is_told_with_its_words_and_codes(stub: tuple[Any, str], tmp_path: Path) -> None:
    service, url = stub
    service.answers["/v1/uploads"] = (
        400,
        {
            "title": "Refused",
            "detail": "No unit.",
            "errors": [{"code": "PRESSURE_UNIT_NOT_STATED"}],
        },
    )
    (tmp_path / "rows.parquet").write_bytes(b"PAR1")
    with (
        DemoClient(url, "secret") as client,
        pytest.raises(Refused, match=r"400 Refused No unit\. \(PRESSURE_UNIT_NOT_STATED\)"),
    ):
        client.upload(tmp_path / "rows.parquet", sent=lambda count: None)


def test_no_answer_at_all_is_a_refusal_too() -> None:
    # Port 9 (discard) of this computer: nothing listens there.
    with (
        DemoClient("http://127.0.0.1:9", "secret") as client,
        pytest.raises(Refused, match="no answer"),
    ):
        client.evaluation("lot_L01")


def test_it_waits_until_the_service_is_ready(stub: tuple[Any, str]) -> None:
    service, url = stub
    with DemoClient(url, "secret") as client:
        client.wait_until_ready()
    assert service.paths == ["GET /readyz"]
