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
from schemas.fit_requests import FitQuestion
from schemas.fits import Distribution
from schemas.lot_comparisons import GroupedBy
from schemas.lots import Lot
from schemas.quantities import LimitConfidence, PositiveCycles
from schemas.specs import SpecVersion
from service.api.given import AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires
from service.pages.calibrations import show_calibration
from service.pages.life_sentences import reached_cycles
from service.pages.risks import show_risks
from service.pages.units import PressureUnit
from service.pages.views import (
    STANDARD_UNIT,
    FitsAnswer,
    FitsAsked,
    LotEntry,
    LotHistory,
    render_fits,
    render_lot,
    render_lots,
    render_unit,
    stylesheet,
)
from service.pages.weibull_plot import plot_counts
from service.workflows.lots import LotFilter

MOST_DECISIONS = 500
"""A lot page shows at most this many recorded decisions; more are read over HTTP."""

TREND_POINTS = 60
"""Points of the trend on the page of a unit: drawn and tabled; all are read over HTTP."""

_STYLE_HEADERS = {"cache-control": "public, max-age=300"}

UnitGiven = Annotated[
    PressureUnit, QueryParameter(description="Unit in which pressures are shown.")
]
ConfidenceChosen = Annotated[
    LimitConfidence | None, QueryParameter(name="confidence", description="The reader's choice.")
]
CountChosen = Annotated[
    PositiveCycles | None, QueryParameter(name="at_cycles", description="The reader's choice.")
]
OpinionChosen = Annotated[
    bool, QueryParameter(name="second_opinion", description="Whether a library is asked too.")
]

_DRAWN_COUNTS = 14
_DISTRIBUTIONS: list[Distribution] = ["WEIBULL", "LOGNORMAL", "EXPONENTIAL"]
_FRACTIONS = [0.01, 0.05, 0.1, 0.5]
_GROUPINGS: tuple[GroupedBy, ...] = ("STATION", "RIG", "COMPONENT_BATCH")


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
        calibrations=await workflows.calibrations.of_lot(lot_id),
        failure_records=await workflows.failure_records.of_lot(lot_id),
        history=await _history(workflows, lot_id),
        pressure_unit=pressure_unit,
    )


@get(
    "/lots/{lot_id:str}/fits",
    guards=[requires("lots.read")],
    include_in_schema=False,
    media_type=MediaType.HTML,
)
async def show_lot_fits(
    lot_id: FromPath[str],
    workflows: Workflows,
    chosen_confidence: ConfidenceChosen = None,
    chosen_count: CountChosen = None,
    second_opinion: OpinionChosen = False,
    pressure_unit: UnitGiven = STANDARD_UNIT,
) -> str:
    """Life distributions of one lot: drawing, limits, warnings; an estimate, no verdict."""
    lot = await workflows.lots.find(lot_id)
    evaluation = await workflows.evaluations.read(lot_id, None)
    asked = FitsAsked(
        confidence=chosen_confidence or _specified_confidence(evaluation),
        at_cycles=chosen_count or _specified_target(evaluation),
        second_opinion=second_opinion,
        is_chosen=chosen_confidence is not None or chosen_count is not None,
    )
    answer = await _fits(workflows, evaluation, asked)
    return render_fits(lot, answer, asked=asked, pressure_unit=pressure_unit)


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
    return render_unit(
        life,
        lot_id=lot.lot_id,
        spec=spec,
        failure_records=await workflows.failure_records.of_unit(unit_id),
        trend=await workflows.units.trend(unit_id, TREND_POINTS),
        changes=[] if unit.changes is UNSET else unit.changes,
        pressure_unit=pressure_unit,
    )


ROUTERS: list[ControllerRouterHandler] = [
    show_start,
    read_style,
    show_lots,
    show_lot,
    show_lot_fits,
    show_unit,
    show_calibration,
    show_risks,
]
"""Handlers of all pages, outside /v1."""


async def _entry(workflows: Workflows, lot: Lot) -> LotEntry:
    """A lot with its verdict as of now and its newest recorded decision."""
    evaluation = await workflows.evaluations.read(lot.lot_id, None)
    decisions = await _decisions(workflows, lot.lot_id)
    return LotEntry(lot=lot, evaluation=evaluation, decision=decisions[0] if decisions else None)


async def _history(workflows: Workflows, lot_id: str) -> LotHistory:
    """How the sample was drawn, and what was signed about the rows."""
    draws = await workflows.sample_draws.of_lot(lot_id, after=0, limit=MOST_DECISIONS)
    changes = await workflows.corrections.changes_of_lot(lot_id)
    return LotHistory(draws=[draw for _, draw in draws], changes=changes)


async def _decisions(workflows: Workflows, lot_id: str) -> list[Decision]:
    """Recorded decisions of a lot, newest first."""
    numbered = await workflows.decisions.of_lot(lot_id, after=0, limit=MOST_DECISIONS)
    return [decision for _, decision in reversed(numbered)]


async def _spec_of(workflows: Workflows, evaluation: Evaluation) -> SpecVersion | None:
    """The version that an evaluation rests on."""
    if evaluation.spec is UNSET:
        return None
    return await workflows.specs.find(evaluation.spec.spec_id, evaluation.spec.version)


def _specified_confidence(evaluation: Evaluation) -> float | None:
    """Confidence of the first requirement, where limits can be given for it."""
    found = [result.confidence for result in evaluation.requirements if result.confidence > 0.5]
    return found[0] if found else None


def _specified_target(evaluation: Evaluation) -> int | None:
    """Target of the first requirement."""
    found = [result.target_cycles for result in evaluation.requirements]
    return found[0] if found else None


async def _fits(
    workflows: Workflows, evaluation: Evaluation, asked: FitsAsked
) -> FitsAnswer | None:
    """Fits at enough counts to be drawn, and every comparison that has two groups."""
    if asked.confidence is None or asked.at_cycles is None:
        return None
    lives = [float(reached_cycles(line)) for line in evaluation.units]
    drawn = plot_counts(lives, asked.at_cycles, number=_DRAWN_COUNTS)
    question = FitQuestion(
        distributions=_DISTRIBUTIONS,
        confidence=asked.confidence,
        at_cycles=sorted({float(asked.at_cycles), *(float(round(each)) for each in drawn)}),
        fractions=_FRACTIONS,
        second_opinion=asked.second_opinion,
    )
    fits = await workflows.fits.of_lot(evaluation.lot_id, question)
    compared = [
        await workflows.populations.homogeneity(evaluation.lot_id, by, ()) for by in _GROUPINGS
    ]
    return FitsAnswer(fits=fits, comparisons=[each for each in compared if len(each.groups) > 1])
