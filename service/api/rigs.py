"""Rigs: what their codes mean, and what happened at them."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post, put
from litestar.params import FromPath, JSONBody, QueryParameter

from schemas.lots import NewRigEvent, Rig, RigEvent, RigSettings
from schemas.paging import Page
from service.api.answers import address, made, repeat_of
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, after_text, numbered_page
from service.api.paging import PAGING, PagingGiven, page_of
from service.auth import requires

_TAGS = ["Rigs"]


@put(
    "/rigs/{rig_id:str}",
    operation_id="set_rig",
    summary="State what a rig's codes mean and what it is made of",
    tags=_TAGS,
    guards=[requires("lots.write")],
    responses=repeat_of(Rig),
    status_code=201,
)
async def set_rig(
    rig_id: FromPath[str],
    data: JSONBody[RigSettings],
    workflows: Workflows,
    actor: ActorGiven,
) -> Response[Rig]:
    """Settings of a rig; the ones before stay in the record. The service never commands a rig."""
    rig, is_new = await workflows.records.set_rig(rig_id, data, actor)
    return made(rig, is_new=is_new, location=address("rigs", rig_id))


@get(
    "/rigs",
    operation_id="list_rigs",
    summary="List rigs",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_rigs(request: AnyRequest, workflows: Workflows, paging: PagingGiven) -> Page[Rig]:
    """Rigs whose settings were stated, by id."""
    found = await workflows.records.rigs(after=after_text(paging), limit=paging.fetch_count)
    return page_of(found, request=request, paging=paging, key=lambda rig: [rig.rig_id])


@get(
    "/rigs/{rig_id:str}",
    operation_id="read_rig",
    summary="Read a rig's settings",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_rig(rig_id: FromPath[str], workflows: Workflows) -> Rig:
    """A rig's settings as they stand."""
    return await workflows.records.rig(rig_id)


@post(
    "/rig-events",
    operation_id="record_rig_event",
    summary="Record something that happened at a rig",
    tags=_TAGS,
    guards=[requires("results.write")],
    responses=repeat_of(RigEvent),
    opt={"problems": ["conflict"]},
)
async def record_rig_event(
    data: JSONBody[NewRigEvent], workflows: Workflows, actor: ActorGiven
) -> Response[RigEvent]:
    """Records an event; a rig uses each key once, and the same event again adds nothing."""
    event, is_new = await workflows.records.add_rig_event(data, actor)
    return made(event, is_new=is_new, location=address("rig-events"))


@get(
    "/rig-events",
    operation_id="list_rig_events",
    summary="List what happened at rigs",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_rig_events(
    request: AnyRequest,
    workflows: Workflows,
    paging: PagingGiven,
    rig_id: Annotated[str | None, QueryParameter(description="Only this rig.")] = None,
) -> Page[RigEvent]:
    """Events in the order in which they were recorded."""
    found = await workflows.records.rig_events(
        rig_id, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


HANDLERS = [set_rig, list_rigs, read_rig, record_rig_event, list_rig_events]
