"""Uploads of rig tables and their receipts over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.params import FromPath, HeaderParameter

from schemas.paging import Page
from schemas.uploads import Upload, UploadFindings
from service.api.answers import address, made, repeat_of
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.api.strict import REQUEST_MEDIA_TYPE
from service.auth import requires

PARQUET_MEDIA_TYPE = "application/vnd.apache.parquet"
_TAGS = ["Uploads"]
ContentDigest = Annotated[
    str | None,
    HeaderParameter(
        name="Content-Digest", description="SHA-256 of the body (RFC 9530), compared when given."
    ),
]


@post(
    "/uploads",
    operation_id="upload_table",
    summary="Upload a cycle table or a lives table",
    tags=_TAGS,
    guards=[requires("results.write")],
    responses=repeat_of(Upload),
    # The body goes to disk as it comes in; the operator's limit is kept there.
    request_max_body_size=None,
    opt={REQUEST_MEDIA_TYPE: PARQUET_MEDIA_TYPE, "problems": ["upload-refused", "busy"]},
)
async def upload_table(
    request: AnyRequest,
    workflows: Workflows,
    actor: ActorGiven,
    content_digest: ContentDigest = None,
) -> Response[Upload]:
    """
    Takes one Parquet file whole or not at all; lots may mix. The same bytes give the same receipt.

    When this answers 201, the rows are stored for good and lives are up to date.
    """
    upload, is_new = await workflows.uploads.take(
        request.stream(), actor, content_digest=content_digest
    )
    return made(upload, is_new=is_new, location=address("uploads", upload.upload_id))


@get(
    "/uploads",
    operation_id="list_uploads",
    summary="List uploads",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_uploads(
    request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[Upload]:
    """Receipts in the order in which the uploads were stored."""
    found = await workflows.uploads.all(after=after_number(paging), limit=paging.fetch_count)
    return numbered_page(found, request=request, paging=paging)


@get(
    "/uploads/{upload_id:str}",
    operation_id="read_upload",
    summary="Read the receipt of an upload",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_upload(upload_id: FromPath[str], workflows: Workflows) -> Upload:
    """What was stored, what was a duplicate, what conflicts, per lot."""
    return await workflows.uploads.find(upload_id)


@get(
    "/uploads/{upload_id:str}/findings",
    operation_id="read_upload_findings",
    summary="Read which rows of an upload do not count, and why",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_upload_findings(upload_id: FromPath[str], workflows: Workflows) -> UploadFindings:
    """Every row accounted for, judged under each lot's current specification."""
    return await workflows.uploads.findings(upload_id)


HANDLERS = [upload_table, list_uploads, read_upload, read_upload_findings]
