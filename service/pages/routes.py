"""Addresses of the pages: each reads what the workflows answer and renders one page."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get
from litestar.enums import MediaType
from litestar.params import FromPath, QueryParameter
from litestar.response import Redirect
from litestar.types import ControllerRouterHandler
from msgspec import UNSET

from schemas.decisions import Decision, Evaluation
from schemas.lots import Lot
from schemas.specs import SpecVersion
from service.api.given import AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires
from service.pages.units import PressureUnit
from service.pages.views import (
    STANDARD_UNIT,
    LotEntry,
    render_lot,
    render_lots,
    render_unit,
    stylesheet,
)
from service.workflows.lots import LotFilter

MOST_DECISIONS = 500
"""A lot page shows at most this many recorded decisions; more are read over HTTP."""

_STYLE_HEADERS = {"cache-control": "public, max-age=300"}

UnitGiven = Annotated[
    PressureUnit, QueryParameter(description="Unit in which pressures are shown.")
]


@get("/", opt={"open": True}, include_in_schema=False)
async def show_start() -> Redirect:
    """Lead to the list of lots."""
    return Redirect("/lots", status_code=303)


@get("/static/style.css", opt={"open": True}, include_in_schema=False, media_type="text/css")
async def read_style() -> Response[bytes]:
    """The stylesheet of all pages."""
    return Response(stylesheet(), media_type="text/css", headers=_STYLE_HEADERS)


@get(
    "/lots",
    guards=[requires("lots.read")],
    dependencies=PAGING,
    include_in_schema=False,
    media_type=MediaType.HTML,
)
async def show_lots(
    request: AnyRequest,
    workflows: Workflows,
    paging: PagingGiven,
    pressure_unit: UnitGiven = STANDARD_UNIT,
) -> str:
    """The list of lots, each with its verdict as of now."""
    found = await workflows.lots.matching(
        LotFilter(), after=after_number(paging), limit=paging.fetch_count
    )
    page = numbered_page(found, request=request, paging=paging)
    entries = [await _entry(workflows, lot) for lot in page.items]
    return render_lots(entries, pressure_unit=pressure_unit, next_page=page.next)


@get(
    "/lots/{lot_id:str}",
    guards=[requires("lots.read")],
    include_in_schema=False,
    media_type=MediaType.HTML,
)
async def show_lot(
    lot_id: FromPath[str], workflows: Workflows, pressure_unit: UnitGiven = STANDARD_UNIT
) -> str:
    """One lot: verdict, argument, units, what is needed, provenance."""
    lot = await workflows.lots.find(lot_id)
    evaluation = await workflows.evaluations.read(lot_id, None)
    return render_lot(
        evaluation,
        lot=lot,
        decisions=await _decisions(workflows, lot_id),
        spec=await _spec_of(workflows, evaluation),
        pressure_unit=pressure_unit,
    )


@get(
    "/units/{unit_id:str}",
    guards=[requires("lots.read")],
    include_in_schema=False,
    media_type=MediaType.HTML,
)
async def show_unit(
    unit_id: FromPath[str], workflows: Workflows, pressure_unit: UnitGiven = STANDARD_UNIT
) -> str:
    """One unit: its life, its stretches, and why the life is what it is."""
    unit = await workflows.units.find(unit_id)
    life = await workflows.units.life(unit_id)
    lot = await workflows.lots.find(unit.lot_id)
    spec = None
    if lot.assignment is not UNSET:
        spec = await workflows.specs.find(lot.assignment.spec_id, lot.assignment.version)
    return render_unit(life, lot_id=lot.lot_id, spec=spec, pressure_unit=pressure_unit)


ROUTERS: list[ControllerRouterHandler] = [show_start, read_style, show_lots, show_lot, show_unit]
"""Handlers of all pages, outside /v1."""


async def _entry(workflows: Workflows, lot: Lot) -> LotEntry:
    """A lot with its verdict as of now and its newest recorded decision."""
    evaluation = await workflows.evaluations.read(lot.lot_id, None)
    decisions = await _decisions(workflows, lot.lot_id)
    return LotEntry(lot=lot, evaluation=evaluation, decision=decisions[0] if decisions else None)


async def _decisions(workflows: Workflows, lot_id: str) -> list[Decision]:
    """Recorded decisions of a lot, newest first."""
    numbered = await workflows.decisions.of_lot(lot_id, after=0, limit=MOST_DECISIONS)
    return [decision for _, decision in reversed(numbered)]


async def _spec_of(workflows: Workflows, evaluation: Evaluation) -> SpecVersion | None:
    """The version that an evaluation rests on."""
    if evaluation.spec is UNSET:
        return None
    return await workflows.specs.find(evaluation.spec.spec_id, evaluation.spec.version)
