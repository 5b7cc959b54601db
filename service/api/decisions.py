"""Recorded verdicts over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.params import FromPath, HeaderParameter, JSONBody

from schemas.decisions import Decision, NewDecision
from schemas.paging import Page
from service.api.answers import address, made, repeat_of
from service.api.etag import key_seen
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires

_TAGS = ["Verdicts"]
IfMatch = Annotated[
    str | None,
    HeaderParameter(name="If-Match", description="ETag of the evaluation that is decided."),
]


@post(
    "/lots/{lot_id:str}/decisions",
    operation_id="record_decision",
    summary="Record the verdict on a lot",
    tags=_TAGS,
    guards=[requires("decisions.sign")],
    responses=repeat_of(Decision),
    opt={"problems": ["conflict", "not-decidable", "stale-version", "precondition-required"]},
)
async def record_decision(
    lot_id: FromPath[str],
    data: JSONBody[NewDecision],
    workflows: Workflows,
    actor: ActorGiven,
    if_match: IfMatch = None,
) -> Response[Decision]:
    """
    Records ACCEPT or REJECT as the evaluation says it; If-Match is required.

    Statistical only: no permission to pressurise or ship, and no disposition of goods.
    """
    seen = key_seen(if_match)
    decision, is_new = await workflows.decisions.record(lot_id, data, actor, key_seen=seen)
    location = address("decisions", decision.decision_id)
    return made(decision, is_new=is_new, location=location)


@get(
    "/lots/{lot_id:str}/decisions",
    operation_id="list_decisions",
    summary="List the recorded verdicts of a lot",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_decisions(
    lot_id: FromPath[str], request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[Decision]:
    """Recorded verdicts, oldest first; none is ever edited."""
    found = await workflows.decisions.of_lot(
        lot_id, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


@get(
    "/decisions/{decision_id:str}",
    operation_id="read_decision",
    summary="Read a recorded verdict",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_decision(decision_id: FromPath[str], workflows: Workflows) -> Decision:
    """The verdict as recorded; `decision_outdated` says whether facts have moved since."""
    return await workflows.decisions.find(decision_id)


HANDLERS = [record_decision, list_decisions, read_decision]
