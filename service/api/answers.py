"""Answers that need more than a body: what was made, what was there already, what is unchanged."""

from __future__ import annotations

from typing import TypeVar
from urllib.parse import quote

from litestar import Response
from litestar.openapi.datastructures import ResponseSpec

from service.api.etag import etag, is_current

Body = TypeVar("Body")


def made(body: Body, *, is_new: bool, location: str) -> Response[Body]:
    """201 for something new, 200 for a repeat of what is stored; `Location` in both cases."""
    return Response(body, status_code=201 if is_new else 200, headers={"Location": location})


def tagged(body: Body, key: str, if_none_match: str | None = None) -> Response[Body]:
    """200 with an entity tag, or 304 without a body if the caller has this very version."""
    headers = {"ETag": etag(key)}
    if is_current(if_none_match, key):
        return Response(None, status_code=304, headers=headers)  # type: ignore[arg-type]
    return Response(body, headers=headers)


def repeat_of(kind: type[Body]) -> dict[int, ResponseSpec]:
    """Description of the 200 that a repeat is answered with."""
    return {
        200: ResponseSpec(kind, description="The same was stored already.", generate_examples=False)
    }


def unchanged() -> dict[int, ResponseSpec]:
    """Description of the 304."""
    return {304: ResponseSpec(None, description="Nothing has changed.", generate_examples=False)}


def address(*parts: str | int) -> str:
    """
    Path below /v1, each part escaped.

    Examples
    --------
    >>> address("rigs", "RIG A/2")
    '/v1/rigs/RIG%20A%2F2'
    """
    return "/".join(["/v1", *(quote(str(part), safe="") for part in parts)])
