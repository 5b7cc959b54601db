"""The reference works without script and takes nothing from elsewhere."""

import re
from pathlib import Path

from frame import frame
from litestar.testing import TestClient

from service.tokens import SCOPES


def test_the_reference_names_every_operation_schema_and_scope(tmp_path: Path) -> None:
    with TestClient(frame(tmp_path)) as client:
        document = client.get("/v1/openapi.json").json()
        page = client.get("/docs").text
    for path, methods in document["paths"].items():
        assert path in page
        for operation in methods.values():
            assert f'id="{operation["operationId"]}"' in page
    for name in document["components"]["schemas"]:
        assert f'id="schema-{name}"' in page
    assert all(scope in page for scope in SCOPES)


def test_every_link_inside_the_reference_leads_somewhere(tmp_path: Path) -> None:
    with TestClient(frame(tmp_path)) as client:
        page = client.get("/docs").text
        anchors = set(re.findall(r'id="([^"]+)"', page))
        assert {a for a in re.findall(r'href="#([^"]+)"', page)} <= anchors
        for path in {p for p in re.findall(r'(?:href|src)="(/[^"]*)"', page)}:
            assert client.get(path).status_code == 200, path


def test_pages_have_no_script_and_nothing_from_elsewhere(tmp_path: Path) -> None:
    with TestClient(frame(tmp_path)) as client:
        for path in ("/docs", "/problems", "/problems/busy", "/sign-in"):
            answer = client.get(path)
            assert "<script" not in answer.text
            assert not re.search(r'(?:href|src)="(?:https?:)?//', answer.text)
            assert "style=" not in answer.text
            policy = answer.headers["content-security-policy"]
            assert policy.startswith("default-src 'self';")
            assert "unsafe" not in policy
            assert answer.headers["x-content-type-options"] == "nosniff"
        assert client.get("/docs/docs.css").headers["content-type"].startswith("text/css")
