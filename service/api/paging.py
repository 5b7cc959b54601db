"""Lists over HTTP: `limit` and `cursor` in, one page and the address of the next out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated, Any, TypeVar
from urllib.parse import urlencode

from litestar.connection import Request
from litestar.di import NamedDependency, Provide
from litestar.params import QueryParameter

from schemas.paging import (
    DEFAULT_LIMIT,
    MAX_LIMIT,
    CursorKey,
    Page,
    PageRequest,
    decode_cursor,
    encode_cursor,
)
from schemas.problems import ProblemError
from service.errors import InvalidRequest

Item = TypeVar("Item")


async def read_page_request(
    limit: Annotated[
        int,
        QueryParameter(ge=1, description="Most items of a page; above 500 it is lowered to 500."),
    ] = DEFAULT_LIMIT,
    cursor: Annotated[
        str | None,
        QueryParameter(description="Place in the list; take it from `next`, never make one."),
    ] = None,
) -> PageRequest:
    """Page that is asked for; a handler takes it as ``paging: PagingGiven``."""
    try:
        after = None if cursor is None else decode_cursor(cursor)
    except ValueError:
        detail = "The cursor is not one that this list gave; start again without it."
        raise InvalidRequest(
            [ProblemError(code="INVALID_CURSOR", detail=detail, parameter="cursor")]
        ) from None
    return PageRequest(limit=min(limit, MAX_LIMIT), after=after)


PAGING = {"paging": Provide(read_page_request)}
"""Dependency of a list handler: ``dependencies=PAGING``."""

PagingGiven = NamedDependency[PageRequest]


def page_of(
    found: Sequence[Item],
    *,
    request: Request[Any, Any, Any],
    paging: PageRequest,
    key: Callable[[Item], CursorKey],
) -> Page[Item]:
    """
    One page of a list.

    Parameters
    ----------
    found : sequence
        Up to ``paging.fetch_count`` items after the cursor, in the list's order.
    request : Request, keyword only
        Its path and other parameters are kept in the address of the next page.
    paging : PageRequest, keyword only
    key : callable, keyword only
        Sort key of an item: unique, so that no page loses or repeats one.
    """
    items = list(found[: paging.limit])
    if len(found) <= paging.limit:
        return Page(items=items)
    others = [
        (name, str(value)) for name, value in request.query_params.multi_items() if name != "cursor"
    ]
    query = urlencode([*others, ("cursor", encode_cursor(key(items[-1])))])
    return Page(items=items, next=f"{request.url.path}?{query}")
