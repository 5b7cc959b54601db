"""Units, their stretches and their lives over HTTP."""

from __future__ import annotations

from litestar import get
from litestar.params import FromPath

from schemas.lives import StretchLine, UnitLife
from schemas.lots import Unit
from schemas.paging import Page
from service.api.given import AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires

_TAGS = ["Units"]


@get(
    "/units/{unit_id:str}",
    operation_id="read_unit",
    summary="Read a unit",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_unit(unit_id: FromPath[str], workflows: Workflows) -> Unit:
    """A unit; `listed` is false for a serial that the sample does not name."""
    return await workflows.units.find(unit_id)


@get(
    "/units/{unit_id:str}/life",
    operation_id="read_unit_life",
    summary="Read the life of a unit",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_unit_life(unit_id: FromPath[str], workflows: Workflows) -> UnitLife:
    """Ending, counted and credited cycles under the lot's current specification, and why."""
    return await workflows.units.life(unit_id)


@get(
    "/units/{unit_id:str}/runs",
    operation_id="list_unit_runs",
    summary="List a unit's stretches on a station",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_unit_runs(
    unit_id: FromPath[str], request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[StretchLine]:
    """Stretches in their order: cycles counted and not, the reasons, and how each stopped."""
    life = await workflows.units.life(unit_id)
    after = after_number(paging)
    numbered = list(enumerate(life.stretches, start=1))[after : after + paging.fetch_count]
    return numbered_page(numbered, request=request, paging=paging)


HANDLERS = [read_unit, read_unit_life, list_unit_runs]
