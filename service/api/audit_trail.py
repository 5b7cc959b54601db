"""The audit trail over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import get
from litestar.params import QueryParameter
from msgspec import Meta

from schemas.audit import AuditHead, AuditLink, AuditReport
from schemas.paging import Page
from schemas.problems import ProblemError
from service.api.given import AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires
from service.errors import InvalidRequest

_TAGS = ["Audit trail"]
NotedPosition = Annotated[
    Annotated[int, Meta(ge=1, le=2**53)] | None,
    QueryParameter(name="position", description="Position of a link that was noted down."),
]
NotedLink = Annotated[
    Annotated[str, Meta(pattern="^[0-9a-f]{64}$")] | None,
    QueryParameter(name="link", description="The link that was noted down."),
]


@get(
    "/audit-trail",
    operation_id="list_audit_links",
    summary="List the links of the audit trail",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_audit_links(
    request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[AuditLink]:
    """Every stored fact in the order in which it was stored, each linked to the one before."""
    found = await workflows.audit_trail.links(after=after_number(paging), limit=paging.fetch_count)
    return numbered_page(found, request=request, paging=paging)


@get(
    "/audit-trail/verification",
    operation_id="verify_audit_trail",
    summary="Check the audit trail",
    tags=_TAGS,
    guards=[requires("admin")],
)
async def verify_audit_trail(
    workflows: Workflows, position: NotedPosition = None, link: NotedLink = None
) -> AuditReport:
    """Recompute every link, compare every fact and the original of every upload."""
    if (position is None) != (link is None):
        detail = "Give position and link together, or neither."
        raise InvalidRequest([ProblemError(code="MISSING_FIELD", detail=detail, parameter="link")])
    noted = None
    if position is not None and link is not None:
        noted = AuditHead(position=position, link=link)
    return await workflows.audit_trail.verify(noted)


HANDLERS = [list_audit_links, verify_audit_trail]
"""Handlers below /v1."""
