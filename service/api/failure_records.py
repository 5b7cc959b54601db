"""Failure records and the signatures under them over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.params import FromPath, HeaderParameter, JSONBody, QueryParameter

from schemas.failure_records import (
    FailureRecord,
    FailureRecordReport,
    NewFailureRecord,
    NewRecordSignature,
    RecordSignature,
)
from schemas.paging import Page
from service.api.answers import address, made, repeat_of, tagged, unchanged
from service.api.etag import key_seen
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires

_TAGS = ["Failure records"]
IfMatch = Annotated[
    str | None,
    HeaderParameter(
        name="If-Match", description="ETag of the lot's evaluation, or of the record, as read."
    ),
]
IfNoneMatch = Annotated[
    str | None, HeaderParameter(name="If-None-Match", description="ETag that the caller has.")
]


@post(
    "/failure-records",
    operation_id="record_failure",
    summary="Record what the examination of a failed unit found",
    tags=_TAGS,
    guards=[requires("results.write")],
    responses=repeat_of(FailureRecord),
    opt={"problems": ["conflict"]},
)
async def record_failure(
    data: JSONBody[NewFailureRecord], workflows: Workflows, actor: ActorGiven
) -> Response[FailureRecord]:
    """
    Names the mode of a unit's failure; it supersedes earlier records of the unit, and all stay.

    A record that makes the failure count less waits for two signatures. Before taking a
    unit down: verify zero pressure at the unit, expect a preloaded spring and hot oil.
    """
    record, is_new = await workflows.failure_records.add(data, actor)
    return made(record, is_new=is_new, location=address("failure-records", record.record_id))


@get(
    "/failure-records",
    operation_id="list_failure_records",
    summary="List failure records",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_failure_records(
    request: AnyRequest,
    workflows: Workflows,
    paging: PagingGiven,
    lot_id: Annotated[str | None, QueryParameter(description="Only units of this lot.")] = None,
) -> Page[FailureRecord]:
    """Failure records in the order in which they were recorded, superseded ones included."""
    found = await workflows.failure_records.all(
        lot_id, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


@get(
    "/failure-records/{record_id:str}",
    operation_id="read_failure_record",
    summary="Read a failure record with what it does and who still has to sign",
    tags=_TAGS,
    guards=[requires("lots.read")],
    responses=unchanged(),
)
async def read_failure_record(
    record_id: FromPath[str], workflows: Workflows, if_none_match: IfNoneMatch = None
) -> Response[FailureRecordReport]:
    """The record, the failure as it counts now, signatures, and the verdict once signed."""
    report = await workflows.failure_records.report(record_id)
    return tagged(report, report.evaluation_key, if_none_match)


@post(
    "/failure-records/{record_id:str}/signatures",
    operation_id="sign_failure_record",
    summary="Sign a failure record that makes a failure count less",
    tags=_TAGS,
    guards=[requires("holds.sign")],
    responses=repeat_of(RecordSignature),
    opt={"problems": ["conflict", "stale-version", "precondition-required"]},
)
async def sign_failure_record(
    record_id: FromPath[str],
    data: JSONBody[NewRecordSignature],
    workflows: Workflows,
    actor: ActorGiven,
    if_match: IfMatch = None,
) -> Response[RecordSignature]:
    """
    Records a person's signature for the failure as it was read; If-Match is required.

    Two different persons have to sign. What does not count against a lot can still be a
    hazard: this is no permission to pressurise or ship.
    """
    seen = key_seen(if_match)
    signature, is_new = await workflows.failure_records.sign(record_id, data, actor, key_seen=seen)
    return made(signature, is_new=is_new, location=address("failure-records", record_id))


HANDLERS = [record_failure, list_failure_records, read_failure_record, sign_failure_record]
