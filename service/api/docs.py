"""The reference for people, rendered from the contract; no script, nothing from elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from litestar import Litestar, Response, get
from litestar.connection import Request

from schemas.problems import PROBLEM_TYPES
from service.api.contract import build_contract, contract_text
from service.api.templating import page, static_file
from service.tokens import SCOPE_MEANINGS

AnyRequest = Request[Any, Any, Any]

_CONTRACT_MEDIA_TYPE = "application/vnd.oai.openapi+json;version=3.1"


@get(
    "/v1/openapi.json",
    operation_id="read_contract",
    summary="This document",
    tags=["Documentation"],
    opt={"open": True},
    media_type=_CONTRACT_MEDIA_TYPE,
)
async def read_contract(request: AnyRequest) -> bytes:
    """The contract of this interface as OpenAPI 3.1."""
    text: str = _kept(request.app, "contract_text", contract_text)
    return text.encode()


@get("/docs", opt={"open": True}, include_in_schema=False)
async def show_docs(request: AnyRequest) -> Response[str]:
    """The reference: operations, parameters, bodies, scopes, problems."""
    document = _kept(request.app, "contract_document", build_contract)
    return page("docs.html", document=document, scopes=SCOPE_MEANINGS, kinds=PROBLEM_TYPES)


@get("/docs/docs.css", opt={"open": True}, include_in_schema=False, media_type="text/css")
async def read_stylesheet() -> bytes:
    """The stylesheet of the pages of the frame."""
    return static_file("docs.css")


HANDLERS = [read_contract, show_docs, read_stylesheet]


def _kept(app: Litestar, name: str, make: Callable[[Litestar], Any]) -> Any:
    """What is the same for every request is made once."""
    if not hasattr(app.state, name):
        setattr(app.state, name, make(app))
    return getattr(app.state, name)
