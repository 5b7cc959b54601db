"""What can be said about a lot now; looking records nothing."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get
from litestar.params import FromPath, HeaderParameter, QueryParameter

from schemas.decisions import Evaluation
from service.api.answers import tagged, unchanged
from service.api.given import Workflows
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


HANDLERS = [read_evaluation]
