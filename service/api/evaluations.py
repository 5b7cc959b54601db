"""What can be said about a lot now; looking records nothing."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get
from litestar.params import FromPath, HeaderParameter, QueryParameter

from schemas.decisions import Evaluation
from schemas.holds import Hold
from schemas.paging import Page
from service.api.answers import tagged, unchanged
from service.api.given import AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires

_TAGS = ["Verdicts"]
IfNoneMatch = Annotated[
    str | None, HeaderParameter(name="If-None-Match", description="ETag that the caller has.")
]
WhatIf = Annotated[
    str | None,
    QueryParameter(
        min_length=1,
        description="Another specification, as SPEC_ID or SPEC_ID:VERSION; a what-if only.",
    ),
]


@get(
    "/lots/{lot_id:str}/evaluation",
    operation_id="read_evaluation",
    summary="Read the verdict on a lot as it stands",
    tags=_TAGS,
    guards=[requires("lots.read")],
    responses=unchanged(),
)
async def read_evaluation(
    lot_id: FromPath[str],
    workflows: Workflows,
    spec: WhatIf = None,
    if_none_match: IfNoneMatch = None,
) -> Response[Evaluation]:
    """Verdict, what it rests on, and what is still needed. The ETag is its evaluation key."""
    evaluation = await workflows.evaluations.read(lot_id, spec)
    return tagged(evaluation, evaluation.provenance.evaluation_key, if_none_match)


@get(
    "/lots/{lot_id:str}/holds",
    operation_id="list_holds",
    summary="List the open holds of a lot",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_holds(
    lot_id: FromPath[str], request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[Hold]:
    """Questions that no rule decides, with the best and the worst answer to each."""
    evaluation = await workflows.evaluations.read(lot_id, None)
    after = after_number(paging)
    numbered = list(enumerate(evaluation.holds, start=1))[after : after + paging.fetch_count]
    return numbered_page(numbered, request=request, paging=paging)


HANDLERS = [read_evaluation, list_holds]
