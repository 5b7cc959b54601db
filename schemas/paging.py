"""Lists are answered page by page; the place in the list is an opaque cursor."""

from __future__ import annotations

import base64
import binascii
from typing import Annotated, Generic, TypeVar

import msgspec
from msgspec import Meta, Struct

DEFAULT_LIMIT = 50
MAX_LIMIT = 500

Item = TypeVar("Item")
CursorKey = list[int | str]
"""Values of the sort columns of the last item sent, its id last: a total order."""


class Page(Struct, Generic[Item], frozen=True, kw_only=True, omit_defaults=True):
    """One page of a list; `next` is absent on the last one."""

    items: Annotated[list[Item], Meta(description="The things of this page, in order.")]
    next: Annotated[
        str | None, Meta(description="Address of the next page; absent at the end.")
    ] = None


class PageRequest(Struct, frozen=True, kw_only=True):
    """
    Which page is asked for.

    `limit` is between 1 and 500. `after` is the sort key of the last item the
    caller has; None for the first page. Fetch `fetch_count` items that sort
    after it: the surplus one only tells that there are more.
    """

    limit: int
    after: CursorKey | None = None

    @property
    def fetch_count(self) -> int:
        """Items to fetch: one more than is sent."""
        return self.limit + 1


def encode_cursor(key: CursorKey) -> str:
    """
    Sort key of an item as the opaque text that a caller sends back.

    Examples
    --------
    >>> decode_cursor(encode_cursor(["2026-11-25T07:05:00Z", "lot_1"]))
    ['2026-11-25T07:05:00Z', 'lot_1']
    """
    return base64.urlsafe_b64encode(msgspec.json.encode(key)).decode("ascii").rstrip("=")


def decode_cursor(text: str) -> CursorKey:
    """
    Sort key out of a cursor.

    Raises
    ------
    ValueError
        If the text is not a cursor that `encode_cursor` wrote.
    """
    try:
        padded = text.encode("ascii") + b"=" * (-len(text) % 4)
        raw = base64.b64decode(padded, altchars=b"-_", validate=True)
        return msgspec.json.decode(raw, type=CursorKey)
    except (UnicodeEncodeError, binascii.Error, msgspec.DecodeError) as broken:
        raise ValueError("not a cursor of this list") from broken
