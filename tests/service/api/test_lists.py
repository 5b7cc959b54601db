"""A list loses and repeats nothing while it grows."""

import pytest
from answers import codes, problem
from service_client import ServiceClient

from schemas.paging import PageRequest, encode_cursor
from service.api.lists import after_number, after_text
from service.errors import InvalidRequest

LIMIT = 4


def test_the_first_page_starts_at_the_beginning() -> None:
    assert after_number(PageRequest(limit=1)) == 0
    assert after_text(PageRequest(limit=1)) == ""
    assert after_number(PageRequest(limit=1, after=[7])) == 7
    assert after_text(PageRequest(limit=1, after=["RIG-A"])) == "RIG-A"


def test_a_cursor_of_another_list_is_refused() -> None:
    for after in (["text"], [1, 2], []):
        with pytest.raises(InvalidRequest):
            after_number(PageRequest(limit=1, after=after))
    for after in ([1], ["a", "b"]):
        with pytest.raises(InvalidRequest):
            after_text(PageRequest(limit=1, after=after))


def test_lots_are_paged_without_loss_while_lots_are_added(service: ServiceClient) -> None:
    expected = [f"L{number:02}" for number in range(3 * LIMIT)]
    for lot_number in expected:
        service.lot(lot_number)
    seen, next_path, sizes = [], f"/v1/lots?limit={LIMIT}&part_number=CC25", []
    while next_path:
        page = service.read(next_path)
        seen += [lot["lot_number"] for lot in page["items"]]
        sizes.append(len(page["items"]))
        next_path = page.get("next")
        if len(sizes) == 2:
            service.lot("added on the way")
    assert seen == [*expected, "added on the way"]
    assert sizes == [LIMIT, LIMIT, LIMIT, 1]
    last = service.read("/v1/lots?limit=500")
    assert len(last["items"]) == 13
    assert "next" not in last


def test_a_cursor_of_another_list_is_refused_over_http(service: ServiceClient) -> None:
    foreign = encode_cursor(["RIG-A"])
    answer = service.get(f"/v1/lots?cursor={foreign}")
    problem(answer, 400, "invalid-request")
    assert codes(answer) == ["INVALID_CURSOR"]
    assert service.get("/v1/lots?cursor=nonsense!").status_code == 400


def test_an_unknown_filter_is_refused_with_the_nearest_one(service: ServiceClient) -> None:
    answer = service.get("/v1/lots?lot_numbr=L01")
    problem(answer, 400, "invalid-request")
    assert answer.json()["errors"][0]["suggestion"] == "lot_number"
