"""Life distributions over HTTP: fitted to lives that are sent, or to a lot's. Nothing is kept."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.params import FromPath, FromQuery, HeaderParameter, JSONBody, QueryParameter

from schemas.fit_answers import FitReport, LotFits
from schemas.fit_requests import AtCycles, FailedFractions, FitQuestion, NewFit
from schemas.fits import Distribution
from schemas.quantities import LimitConfidence
from service.api.answers import tagged, unchanged
from service.api.given import Workflows
from service.auth import requires

_TAGS = ["Life distributions"]
_EVERY_DISTRIBUTION: list[Distribution] = ["WEIBULL", "LOGNORMAL", "EXPONENTIAL"]

CountsAsked = Annotated[
    AtCycles | None,
    QueryParameter(description="Count at which the reliability is wanted; may be repeated."),
]
FractionsAsked = Annotated[
    FailedFractions | None,
    QueryParameter(
        name="fraction",
        description="Fraction failed whose cycles are wanted, 0.1 for B10; may be repeated.",
    ),
]
DistributionsAsked = Annotated[
    list[Distribution] | None,
    QueryParameter(name="distribution", description="May be repeated; all three when left out."),
]
OpinionAsked = Annotated[
    bool, QueryParameter(description="Whether a library is to be asked too; takes seconds.")
]
IfNoneMatch = Annotated[
    str | None, HeaderParameter(name="If-None-Match", description="ETag that the caller has.")
]


@post(
    "/fits",
    operation_id="fit_lives",
    summary="Fit life distributions to lives",
    tags=_TAGS,
    guards=[requires("lots.read")],
    status_code=200,
    opt={"problems": ["outside-domain"]},
)
async def fit_lives(data: JSONBody[NewFit], workflows: Workflows) -> FitReport:
    """
    Fits with limits, ranks, survival curves and warnings for the lives in the body.

    A fit that does not exist is an answer with the reason. Nothing is stored.
    """
    return await workflows.fits.of_lives(data)


@get(
    "/lots/{lot_id:str}/fits",
    operation_id="read_lot_fits",
    summary="Fit life distributions to a lot's lives",
    tags=_TAGS,
    guards=[requires("lots.read")],
    responses=unchanged(),
    opt={"problems": ["outside-domain"]},
)
async def read_lot_fits(
    lot_id: FromPath[str],
    workflows: Workflows,
    confidence: FromQuery[LimitConfidence],
    at_cycles: CountsAsked = None,
    fractions: FractionsAsked = None,
    distributions: DistributionsAsked = None,
    second_opinion: OpinionAsked = False,
    if_none_match: IfNoneMatch = None,
) -> Response[LotFits]:
    """
    The same for the lives of a lot as they stand under its specification.

    An estimate beside the verdict: none of it decides. Open holds are taken as they stand.
    """
    question = FitQuestion(
        distributions=distributions or _EVERY_DISTRIBUTION,
        confidence=confidence,
        at_cycles=at_cycles or [],
        fractions=fractions or [],
        second_opinion=second_opinion,
    )
    answer = await workflows.fits.of_lot(lot_id, question)
    return tagged(answer, answer.answer_key, if_none_match)


HANDLERS = [fit_lives, read_lot_fits]
