"""Holds and their dispositions over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.params import FromPath, HeaderParameter, JSONBody, QueryParameter

from schemas.dispositions import (
    Disposition,
    HoldCombinations,
    HoldReport,
    ListedState,
    NewDisposition,
)
from schemas.holds import Hold
from schemas.paging import Page
from service.api.answers import address, made, repeat_of, tagged, unchanged
from service.api.etag import key_seen
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires

_TAGS = ["Holds"]
StateListed = Annotated[
    ListedState,
    QueryParameter(name="state", description="Questions that are open, or were decided."),
]
IfMatch = Annotated[
    str | None,
    HeaderParameter(
        name="If-Match", description="ETag of the lot's evaluation, or of the hold, as read."
    ),
]
IfNoneMatch = Annotated[
    str | None, HeaderParameter(name="If-None-Match", description="ETag that the caller has.")
]


@get(
    "/lots/{lot_id:str}/holds",
    operation_id="list_holds",
    summary="List the holds of a lot",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_holds(
    lot_id: FromPath[str],
    request: AnyRequest,
    workflows: Workflows,
    paging: PagingGiven,
    state_listed: StateListed = "open",
) -> Page[Hold]:
    """Questions that no rule decides, with the best and the worst answer to each."""
    evaluation = await workflows.evaluations.read(lot_id, None)
    holds = evaluation.holds if state_listed == "open" else evaluation.decided_holds
    after = after_number(paging)
    numbered = list(enumerate(holds, start=1))[after : after + paging.fetch_count]
    return numbered_page(numbered, request=request, paging=paging)


@get(
    "/lots/{lot_id:str}/hold-combinations",
    operation_id="list_hold_combinations",
    summary="Read the verdict under every way of deciding the open holds",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def list_hold_combinations(lot_id: FromPath[str], workflows: Workflows) -> HoldCombinations:
    """Every combination of up to eight open holds; of more, all for and all against the lot."""
    return await workflows.holds.combinations(lot_id)


@get(
    "/holds/{hold_id:str}",
    operation_id="read_hold",
    summary="Read a hold with its options and the verdict under each",
    tags=_TAGS,
    guards=[requires("lots.read")],
    responses=unchanged(),
)
async def read_hold(
    hold_id: FromPath[str], workflows: Workflows, if_none_match: IfNoneMatch = None
) -> Response[HoldReport]:
    """
    Evidence, unit, both options with the lot's verdict under each, and what was signed.

    The ETag is that of the lot's evaluation. Whoever goes to look at a unit: judge leakage
    from outside the guard or depressurise first; never search for a leak by hand.
    """
    report = await workflows.holds.report(hold_id)
    return tagged(report, report.evaluation_key, if_none_match)


@get(
    "/holds/{hold_id:str}/dispositions",
    operation_id="list_dispositions",
    summary="List what was signed about a hold",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_dispositions(
    hold_id: FromPath[str], request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[Disposition]:
    """Dispositions, oldest first; none is ever edited, a later one supersedes."""
    found = await workflows.holds.dispositions(
        hold_id, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


@post(
    "/holds/{hold_id:str}/dispositions",
    operation_id="record_disposition",
    summary="Sign which alternative of a hold is true",
    tags=_TAGS,
    guards=[requires("holds.sign")],
    responses=repeat_of(Disposition),
    opt={"problems": ["conflict", "stale-version", "precondition-required"]},
)
async def record_disposition(
    hold_id: FromPath[str],
    data: JSONBody[NewDisposition],
    workflows: Workflows,
    actor: ActorGiven,
    if_match: IfMatch = None,
) -> Response[Disposition]:
    """
    Records a person's answer to the hold as it stands; If-Match is required.

    It answers the hold with exactly the evidence that was signed on: when rows or records
    behind it change, the question is open again under another id. Decides an open question
    of the statistics only: no permission to pressurise or ship.
    """
    seen = key_seen(if_match)
    disposition, is_new = await workflows.holds.dispose(hold_id, data, actor, key_seen=seen)
    location = address("holds", hold_id, "dispositions")
    return made(disposition, is_new=is_new, location=location)


HANDLERS = [list_holds, list_hold_combinations, read_hold, list_dispositions, record_disposition]
