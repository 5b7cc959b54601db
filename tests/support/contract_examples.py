"""The examples of the contract: read, sent to the service one after another, compared."""

from __future__ import annotations

import io
import json
import math
import re
import zipfile
from pathlib import Path
from typing import Any

from bodies import cycle_rows, cycle_table, lives_table
from httpx import Response
from product_source import ROOT
from service_client import PARQUET, ServiceClient

FOLDER = ROOT / "openapi" / "examples"
HASH = "sha256:<64 hexadecimal digits>"
DIGEST = "<64 hexadecimal digits>"
_HASH = re.compile(r"^sha256:[0-9a-f]{64}$")
_DIGEST = re.compile(r"^[0-9a-f]{64}$")
_CHANGING_ID = re.compile(r"^(?:up|dec)_[a-z2-7]{12}$")
_CHANGING_FIELDS = {
    "byte_count": 0,
    "libraries": {},
    "key_id": "<16 hexadecimal digits>",
    "public_key": "<base64>",
    "software": "lotproof <version>",
    # Rounding errors: how near to 0 a slope is differs between computers.
    "score_size": 0.0,
}
_EQUAL_TO = 1e-7
_SEARCHED_EQUAL_TO = 1e-3
"""For figures at the end of a search over several numbers: the top is flat."""


def examples() -> list[dict[str, Any]]:
    """All examples in the order in which they can be sent to an empty store."""
    return [json.loads(path.read_text("utf-8")) for path in sorted(FOLDER.glob("*.json"))]


class Replay:
    """
    Sends requests of examples and remembers what later ones refer to.

    A request names `{upload_id}`, `{decision_id}` or `{etag}` of the last answer
    that had one; a table is given by its rows, which the replay writes as Parquet.
    What only a person may sign names them as `signed_by`.
    """

    def __init__(self, client: ServiceClient) -> None:
        self._client = client
        self._known: dict[str, str] = {}

    def send(self, request: dict[str, Any]) -> Response:
        client = self._client
        if "signed_by" in request:
            client = client.with_scopes(["admin"], name=request["signed_by"])
        headers = {**client.headers}
        headers |= {name: self._filled(value) for name, value in request.get("headers", {}).items()}
        content: dict[str, Any] = {}
        if "body" in request:
            content = {"json": request["body"]}
        elif "text" in request:
            content = {"content": request["text"]}
        elif "lives_table" in request:
            content = {"content": lives_table(request["lives_table"])}
            headers["Content-Type"] = PARQUET
        elif "cycle_table" in request:
            content = {"content": cycle_table(cycle_rows(**request["cycle_table"]))}
            headers["Content-Type"] = PARQUET
        answer = client.http.request(
            request["method"], self._filled(request["path"]), headers=headers, **content
        )
        self._remember(answer)
        return answer

    def _filled(self, text: str) -> str:
        for name, value in self._known.items():
            text = text.replace(f"{{{name}}}", value)
        return text

    def _remember(self, answer: Response) -> None:
        if "etag" in answer.headers:
            self._known["etag"] = answer.headers["etag"]
        body = body_of(answer) or {}
        for name in ("upload_id", "decision_id"):
            if name in body:
                self._known[name] = body[name]


def body_of(answer: Response) -> Any:
    """Body of an answer: what its JSON says, or the text of a file; None without one."""
    if not answer.content:
        return None
    if "json" in answer.headers["content-type"]:
        return answer.json()
    if answer.headers["content-type"] == "application/zip":
        with zipfile.ZipFile(io.BytesIO(answer.content)) as pack:
            return {"content_type": "application/zip", "parts": pack.namelist()}
    return {"content_type": answer.headers["content-type"], "text": answer.text}


def masked(value: Any) -> Any:
    """A body without what differs from one run or version to the next."""
    if isinstance(value, dict):
        return {
            name: _CHANGING_FIELDS[name] if name in _CHANGING_FIELDS else masked(each)
            for name, each in value.items()
        }
    if isinstance(value, list):
        return [masked(each) for each in value]
    if isinstance(value, str):
        if _HASH.match(value):
            return HASH
        if _DIGEST.match(value):
            return DIGEST
        if _CHANGING_ID.match(value):
            return value.split("_")[0] + "_<12 letters or digits>"
    return value


def differences(found: Any, expected: Any, place: str = "") -> list[str]:
    """Places where two bodies differ; numbers may differ in their last digits."""
    if isinstance(found, dict) and isinstance(expected, dict):
        return [
            line
            for name in sorted({*found, *expected})
            for line in differences(found.get(name), expected.get(name), f"{place}/{name}")
        ]
    if isinstance(found, list) and isinstance(expected, list) and len(found) == len(expected):
        return [
            line
            for index, (each, other) in enumerate(zip(found, expected, strict=True))
            for line in differences(each, other, f"{place}/{index}")
        ]
    if isinstance(found, float) and isinstance(expected, float):
        tolerance = _SEARCHED_EQUAL_TO if "/mixture/" in place else _EQUAL_TO
        same = math.isclose(found, expected, rel_tol=tolerance)
        return [] if same else [f"{place}: {found!r} is not {expected!r}"]
    return [] if found == expected else [f"{place}: {found!r} is not {expected!r}"]


def example_path(number: int, operation_id: str) -> Path:
    """File of an example; the number gives the order."""
    return FOLDER / f"{number:02}_{operation_id}.json"
