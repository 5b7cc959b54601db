"""Cursors."""

import pytest

from schemas.paging import PageRequest, decode_cursor, encode_cursor


@pytest.mark.parametrize("key", [[1], ["lot_1"], ["2026-11-25T07:05:00Z", 7, "ü/+="], []])
def test_a_cursor_gives_its_key_back_and_is_safe_in_an_address(key: list[int | str]) -> None:
    cursor = encode_cursor(key)
    assert decode_cursor(cursor) == key
    assert cursor.replace("-", "").replace("_", "").isalnum()


@pytest.mark.parametrize("text", ["", "x", "!!!!", "ü", "W10=W10", "e30", "WzEuNV0", "W251bGxd"])
def test_anything_else_is_no_cursor(text: str) -> None:
    with pytest.raises(ValueError, match="not a cursor"):
        decode_cursor(text)


def test_one_item_more_than_sent_is_fetched() -> None:
    assert PageRequest(limit=50).fetch_count == 51
