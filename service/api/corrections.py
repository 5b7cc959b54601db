"""Uploads withdrawn, serials and lots corrected, over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.params import FromPath, JSONBody, PathParameter, QueryParameter

from schemas.corrections import Correction, NewCorrection, NewWithdrawal, Withdrawal
from schemas.paging import Page
from service.api.answers import address, made, repeat_of
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires

_TAGS = ["Corrections"]
CorrectionKey = Annotated[
    str, PathParameter(description="Key that the correction was recorded with.")
]


@post(
    "/uploads/{upload_id:str}/withdrawal",
    operation_id="withdraw_upload",
    summary="Withdraw an upload",
    tags=_TAGS,
    guards=[requires("holds.sign")],
    responses=repeat_of(Withdrawal),
    opt={"problems": ["conflict", "busy"]},
)
async def withdraw_upload(
    upload_id: FromPath[str],
    data: JSONBody[NewWithdrawal],
    workflows: Workflows,
    actor: ActorGiven,
) -> Response[Withdrawal]:
    """
    A person signs that the rows of an upload count no more; nothing is deleted.

    Rows that another upload brought too go on counting. The answer tells the verdict on each
    lot before and after; an ACCEPT that rested on such rows is marked, never edited.
    """
    withdrawal, is_new = await workflows.withdrawals.withdraw(upload_id, data, actor)
    return made(withdrawal, is_new=is_new, location=address("uploads", upload_id, "withdrawal"))


@get(
    "/uploads/{upload_id:str}/withdrawal",
    operation_id="read_withdrawal",
    summary="Read who withdrew an upload, why, and what it changed",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_withdrawal(upload_id: FromPath[str], workflows: Workflows) -> Withdrawal:
    """The withdrawal as it was signed; 404 for an upload that stands."""
    return await workflows.withdrawals.find(upload_id)


@post(
    "/corrections",
    operation_id="record_correction",
    summary="Correct the serial or the lot under which rows were written",
    tags=_TAGS,
    guards=[requires("holds.sign")],
    responses=repeat_of(Correction),
    opt={"problems": ["conflict", "busy"]},
)
async def record_correction(
    data: JSONBody[NewCorrection], workflows: Workflows, actor: ActorGiven
) -> Response[Correction]:
    """
    A person signs that rows written under one unit belong to another; no row is rewritten.

    `written` names the unit as the files do. Uploads that arrive later with the same name in
    the same scope follow; a later correction of the same rows supersedes.
    """
    correction, is_new = await workflows.corrections.correct(data, actor)
    location = address("corrections", data.correction_key)
    return made(correction, is_new=is_new, location=location)


@get(
    "/corrections",
    operation_id="list_corrections",
    summary="List corrections of serials and lots",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_corrections(
    request: AnyRequest,
    workflows: Workflows,
    paging: PagingGiven,
    lot_id: Annotated[
        str | None, QueryParameter(description="Only those that touched this lot.")
    ] = None,
) -> Page[Correction]:
    """Corrections in the order in which they were recorded; none is ever edited."""
    found = await workflows.corrections.all(
        lot_id, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


@get(
    "/corrections/{correction_key:str}",
    operation_id="read_correction",
    summary="Read a correction and what it changed",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_correction(correction_key: CorrectionKey, workflows: Workflows) -> Correction:
    """The correction as it was signed, with lots and units before and after."""
    return await workflows.corrections.find(correction_key)


HANDLERS = [
    withdraw_upload,
    read_withdrawal,
    record_correction,
    list_corrections,
    read_correction,
]
