"""Lists come page by page; nothing is lost or repeated while things are added."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from frame import bearer, frame_with
from litestar import Request, get
from litestar.params import FromQuery
from litestar.testing import TestClient

from schemas.paging import Page
from service.api.paging import PAGING, PagingGiven, page_of
from service.auth import requires

NUMBERS: list[int] = []


@get("/numbers", guards=[requires("lots.read")], dependencies=PAGING)
async def list_numbers(
    request: Request[Any, Any, Any], paging: PagingGiven, kind: FromQuery[str | None] = None
) -> Page[int]:
    after = -1 if paging.after is None else int(paging.after[0])
    found = [n for n in sorted(NUMBERS) if n > after][: paging.fetch_count]
    return page_of(found, request=request, paging=paging, key=lambda n: [n])


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient[Any]]:
    NUMBERS[:] = range(0, 1200, 2)
    with frame_with([list_numbers], tmp_path) as client:
        client.headers.update(bearer(tmp_path, ["lots.read"]))
        yield client


def test_following_next_gives_every_item_once_though_items_are_added(
    client: TestClient[Any],
) -> None:
    before, seen = list(NUMBERS), []
    url: str | None = "/v1/trial/numbers?limit=200&kind=a%26b"
    while url is not None:
        page = client.get(url).json()
        seen += page["items"]
        NUMBERS.append(seen[-1] - 1)
        url = page.get("next")
        assert url is None or "kind=a%26b" in url
    assert seen == before


def test_the_last_page_has_no_next(client: TestClient[Any]) -> None:
    NUMBERS[:] = range(50)
    assert client.get("/v1/trial/numbers").json() == {"items": list(range(50))}


def test_the_default_is_fifty_and_more_than_five_hundred_is_lowered(
    client: TestClient[Any],
) -> None:
    assert len(client.get("/v1/trial/numbers").json()["items"]) == 50
    assert len(client.get("/v1/trial/numbers?limit=100000").json()["items"]) == 500


@pytest.mark.parametrize("query", ["limit=0", "limit=-1", "limit=x", "cursor=x", "cursor=W3t9XQ"])
def test_a_bad_limit_or_cursor_is_refused_by_name(client: TestClient[Any], query: str) -> None:
    answer = client.get(f"/v1/trial/numbers?{query}")
    assert answer.status_code == 400
    assert [e["parameter"] for e in answer.json()["errors"]] == [query.split("=")[0]]
