"""Lots, their samples and their specifications over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.params import FromPath, JSONBody, QueryParameter

from schemas.lots import (
    Assignment,
    Lot,
    NewAssignment,
    NewLot,
    NewUnits,
    RegistrationState,
    Unit,
)
from schemas.paging import Page
from schemas.uploads import Upload
from service.api.answers import address, made, repeat_of
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires
from service.workflows.lots import LotFilter

_TAGS = ["Lots"]
LotId = FromPath[str]


@post(
    "/lots",
    operation_id="register_lot",
    summary="Register a lot",
    tags=_TAGS,
    guards=[requires("lots.write")],
    responses=repeat_of(Lot),
    opt={"problems": ["conflict"]},
)
async def register_lot(
    data: JSONBody[NewLot], workflows: Workflows, actor: ActorGiven
) -> Response[Lot]:
    """Registers a lot under the shop's number; one that uploads have named keeps its id."""
    lot, is_new = await workflows.lots.register(data, actor)
    return made(lot, is_new=is_new, location=address("lots", lot.lot_id))


@get(
    "/lots",
    operation_id="list_lots",
    summary="List lots",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_lots(
    request: AnyRequest,
    workflows: Workflows,
    paging: PagingGiven,
    lot_number: Annotated[str | None, QueryParameter(description="The shop's lot number.")] = None,
    part_number: Annotated[str | None, QueryParameter(description="Part of the lots.")] = None,
    registration: Annotated[
        RegistrationState | None,
        # The framework keeps the name `state` for itself.
        QueryParameter(name="state", description="Whether the lot was registered."),
    ] = None,
) -> Page[Lot]:
    """Lots in the order in which they were first named, those that only uploads named too."""
    chosen = LotFilter(lot_number=lot_number, part_number=part_number, state=registration)
    found = await workflows.lots.matching(
        chosen, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


@get(
    "/lots/{lot_id:str}",
    operation_id="read_lot",
    summary="Read a lot",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_lot(lot_id: LotId, workflows: Workflows) -> Lot:
    """A lot with its current specification; its verdict is at `evaluation`."""
    return await workflows.lots.find(lot_id)


@post(
    "/lots/{lot_id:str}/units",
    operation_id="add_sample_units",
    summary="List units as the lot's sample",
    tags=_TAGS,
    guards=[requires("lots.write")],
    responses=repeat_of(Page[Unit]),
    opt={"problems": ["conflict"]},
)
async def add_sample_units(
    lot_id: LotId, data: JSONBody[NewUnits], workflows: Workflows, actor: ActorGiven
) -> Response[Page[Unit]]:
    """Lists units; a listed unit is never taken off. The answer has the units of the request."""
    units, is_new = await workflows.lots.add_to_sample(lot_id, data, actor)
    return made(Page(items=units), is_new=is_new, location=address("lots", lot_id, "units"))


@get(
    "/lots/{lot_id:str}/units",
    operation_id="list_units",
    summary="List the units of a lot",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_units(
    lot_id: LotId, request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[Unit]:
    """Every unit that the sample, an upload or a record named."""
    found = await workflows.lots.units(lot_id, after=after_number(paging), limit=paging.fetch_count)
    return numbered_page(found, request=request, paging=paging)


@post(
    "/lots/{lot_id:str}/assignments",
    operation_id="assign_spec",
    summary="Assign an approved specification to a lot",
    tags=_TAGS,
    guards=[requires("lots.write")],
    responses=repeat_of(Assignment),
    opt={"problems": ["conflict"]},
)
async def assign_spec(
    lot_id: LotId, data: JSONBody[NewAssignment], workflows: Workflows, actor: ActorGiven
) -> Response[Assignment]:
    """Makes an approved version the lot's current one; earlier assignments stay in the record."""
    assignment, is_new = await workflows.lots.assign(lot_id, data, actor)
    location = address("lots", lot_id, "assignments")
    return made(assignment, is_new=is_new, location=location)


@get(
    "/lots/{lot_id:str}/assignments",
    operation_id="list_assignments",
    summary="List the specifications a lot was given",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_assignments(
    lot_id: LotId, request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[Assignment]:
    """Assignments, oldest first; the last one is current."""
    found = await workflows.lots.assignments(
        lot_id, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


@get(
    "/lots/{lot_id:str}/uploads",
    operation_id="list_lot_uploads",
    summary="List the uploads that hold rows of a lot",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_lot_uploads(
    lot_id: LotId, request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[Upload]:
    """Receipts of the uploads that named this lot, oldest first."""
    found = await workflows.uploads.of_lot(
        lot_id, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


HANDLERS = [
    register_lot,
    list_lots,
    read_lot,
    add_sample_units,
    list_units,
    assign_spec,
    list_assignments,
    list_lot_uploads,
]
