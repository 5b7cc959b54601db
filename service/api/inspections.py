"""Inspections of units over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.params import JSONBody, QueryParameter

from schemas.lots import Inspection, NewInspection
from schemas.paging import Page
from service.api.answers import address, made, repeat_of
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires

_TAGS = ["Inspections"]


@post(
    "/inspections",
    operation_id="record_inspection",
    summary="Record what a person saw at a unit",
    tags=_TAGS,
    guards=[requires("results.write")],
    responses=repeat_of(Inspection),
    opt={"problems": ["conflict"]},
)
async def record_inspection(
    data: JSONBody[NewInspection], workflows: Workflows, actor: ActorGiven
) -> Response[Inspection]:
    """
    Records an inspection and after which cycle it was made.

    Judge leakage from outside the guard or depressurise first; never search for a
    leak by hand.
    """
    inspection, is_new = await workflows.records.add_inspection(data, actor)
    return made(inspection, is_new=is_new, location=address("inspections"))


@get(
    "/inspections",
    operation_id="list_inspections",
    summary="List inspections",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_inspections(
    request: AnyRequest,
    workflows: Workflows,
    paging: PagingGiven,
    lot_id: Annotated[str | None, QueryParameter(description="Only units of this lot.")] = None,
) -> Page[Inspection]:
    """Inspections in the order in which they were recorded."""
    found = await workflows.records.inspections(
        lot_id, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


HANDLERS = [record_inspection, list_inspections]
