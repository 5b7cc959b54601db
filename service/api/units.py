"""Units, their stretches and their lives over HTTP."""

from __future__ import annotations

from typing import Annotated

import msgspec
from litestar import get
from litestar.params import FromPath, QueryParameter

from schemas.lives import StretchLine, UnitLife
from schemas.lots import Unit
from schemas.paging import Page, PageRequest
from schemas.quantities import Instant
from schemas.trends import TrendPoints, UnitTrend
from schemas.unit_rows import FIRST_PLACE, LoggedCycle, RowPlace, StartRange
from service.api.given import AnyRequest, Workflows
from service.api.lists import after_number, foreign_cursor, numbered_page
from service.api.paging import PAGING, PagingGiven, page_of
from service.auth import requires

_TAGS = ["Units"]
StartedFrom = Annotated[
    Instant | None, QueryParameter(name="from", description="Cycles that started then or later.")
]
StartedBefore = Annotated[
    Instant | None, QueryParameter(name="to", description="Cycles that started before then.")
]
MostPoints = Annotated[
    TrendPoints | None,
    QueryParameter(name="points", description="Most points; blocks are put together to fit."),
]


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


@get(
    "/units/{unit_id:str}/trend",
    operation_id="read_unit_trend",
    summary="Read the trend of a unit",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_unit_trend(
    unit_id: FromPath[str], workflows: Workflows, most_points: MostPoints = None
) -> UnitTrend:
    """Decay, peak and rise time by blocks of counted cycles, with what is known of leak onset."""
    return await workflows.units.trend(unit_id, most_points)


@get(
    "/units/{unit_id:str}/cycles",
    operation_id="list_unit_cycles",
    summary="List a unit's raw rows",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_unit_cycles(
    unit_id: FromPath[str],
    request: AnyRequest,
    workflows: Workflows,
    paging: PagingGiven,
    from_at: StartedFrom = None,
    to_at: StartedBefore = None,
) -> Page[LoggedCycle]:
    """Every stored row in the order in which its cycles started, conflicting ones marked."""
    found = await workflows.units.cycles(
        unit_id,
        StartRange(from_at=from_at, to_at=to_at),
        after=_after_place(paging),
        limit=paging.fetch_count,
    )
    page = page_of(found, request=request, paging=paging, key=lambda placed: [*placed.place])
    return Page(items=[placed.cycle for placed in page.items], next=page.next)


def _after_place(paging: PageRequest) -> RowPlace:
    """Place of the last row that the caller has; before all rows for the first page."""
    if paging.after is None:
        return FIRST_PLACE
    try:
        place: RowPlace = msgspec.convert(paging.after, RowPlace)
    except msgspec.ValidationError:
        raise foreign_cursor() from None
    return place


HANDLERS = [read_unit, read_unit_life, list_unit_runs, read_unit_trend, list_unit_cycles]
