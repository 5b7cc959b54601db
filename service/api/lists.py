"""Lists of things that are kept in the order in which they were recorded."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from schemas.paging import Page, PageRequest
from schemas.problems import ProblemError
from service.api.given import AnyRequest
from service.api.paging import page_of
from service.errors import InvalidRequest

Item = TypeVar("Item")


def after_number(paging: PageRequest) -> int:
    """
    Place of the last item that the caller has; 0 for the first page.

    Raises
    ------
    InvalidRequest
        If the cursor comes from another list.
    """
    if paging.after is None:
        return 0
    if len(paging.after) == 1 and isinstance(place := paging.after[0], int):
        return place
    raise foreign_cursor()


def after_text(paging: PageRequest) -> str:
    """Id of the last item that the caller has; the errors are those of `after_number`."""
    if paging.after is None:
        return ""
    if len(paging.after) == 1 and isinstance(place := paging.after[0], str):
        return place
    raise foreign_cursor()


def numbered_page(
    found: Sequence[tuple[int, Item]], *, request: AnyRequest, paging: PageRequest
) -> Page[Item]:
    """
    One page of items that come with their place in the list.

    Parameters
    ----------
    found : sequence of tuple of int and item
        Up to ``paging.fetch_count`` items after `after_number`, in ascending order.
    """
    page = page_of(found, request=request, paging=paging, key=lambda numbered: [numbered[0]])
    return Page(items=[item for _, item in page.items], next=page.next)


def foreign_cursor() -> InvalidRequest:
    """The refusal of a cursor that comes from another list."""
    detail = "The cursor is not one that this list gave; start again without it."
    return InvalidRequest([ProblemError(code="INVALID_CURSOR", detail=detail, parameter="cursor")])
