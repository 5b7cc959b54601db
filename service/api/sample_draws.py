"""Samples drawn from lots over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.params import FromPath, JSONBody, PathParameter

from schemas.paging import Page
from schemas.sample_draws import NewDraw, NewSubstitution, SampleDraw
from service.api.answers import address, made, repeat_of
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires

_TAGS = ["Samples"]
DrawKey = Annotated[str, PathParameter(description="Key that the draw was recorded with.")]


@post(
    "/lots/{lot_id:str}/draws",
    operation_id="draw_sample",
    summary="Draw the sample of a lot",
    tags=_TAGS,
    guards=[requires("lots.write")],
    responses=repeat_of(SampleDraw),
    opt={"problems": ["conflict"]},
)
async def draw_sample(
    lot_id: FromPath[str], data: JSONBody[NewDraw], workflows: Workflows, actor: ActorGiven
) -> Response[SampleDraw]:
    """
    Draws units and spares from each stratum and lists the units as the lot's sample.

    Anybody can repeat the draw: within its stratum a serial is sorted by the SHA-256 of seed,
    line feed, stratum, line feed, serial; the first ones are the sample, the next the spares.
    """
    draw, is_new = await workflows.sample_draws.draw(lot_id, data, actor)
    location = address("lots", lot_id, "draws", data.draw_key)
    return made(draw, is_new=is_new, location=location)


@get(
    "/lots/{lot_id:str}/draws",
    operation_id="list_draws",
    summary="List how the sample of a lot was drawn",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_draws(
    lot_id: FromPath[str], request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[SampleDraw]:
    """Draws in the order in which they were recorded; none is ever edited."""
    found = await workflows.sample_draws.of_lot(
        lot_id, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


@get(
    "/lots/{lot_id:str}/draws/{draw_key:str}",
    operation_id="read_draw",
    summary="Read one draw with its seed, units, spares and substitutions",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_draw(lot_id: FromPath[str], draw_key: DrawKey, workflows: Workflows) -> SampleDraw:
    """What was drawn, and all that is needed to draw it again."""
    return await workflows.sample_draws.find(lot_id, draw_key)


@post(
    "/lots/{lot_id:str}/draws/{draw_key:str}/substitutions",
    operation_id="substitute_unit",
    summary="Put the next spare in the place of a void unit",
    tags=_TAGS,
    guards=[requires("lots.write")],
    responses=repeat_of(SampleDraw),
    opt={"problems": ["conflict"]},
)
async def substitute_unit(
    lot_id: FromPath[str],
    draw_key: DrawKey,
    data: JSONBody[NewSubstitution],
    workflows: Workflows,
    actor: ActorGiven,
) -> Response[SampleDraw]:
    """
    The spare whose turn it is joins the sample; the void unit keeps its place in it.

    Only a unit that is VOID as things stand is substituted, and only within the places of the
    approved plan.
    """
    draw, is_new = await workflows.sample_draws.substitute(lot_id, draw_key, data, actor)
    location = address("lots", lot_id, "draws", draw_key)
    return made(draw, is_new=is_new, location=location)


HANDLERS = [draw_sample, list_draws, read_draw, substitute_unit]
