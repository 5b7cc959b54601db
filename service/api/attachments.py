"""Attachments over HTTP: bytes in, bytes out, never shown as a page."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.datastructures import ETag
from litestar.params import HeaderParameter, PathParameter
from litestar.response import File

from schemas.attachments import ATTACHMENT_TYPES, Attachment
from service.api.answers import address, made, repeat_of
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.strict import REQUEST_MEDIA_TYPE
from service.auth import requires

_TAGS = ["Failure records"]
_KEPT_AS_A_FILE = {
    # Whatever is in the bytes, a browser runs none of it under this service's name.
    "Content-Security-Policy": "default-src 'none'; sandbox",
    "Cross-Origin-Resource-Policy": "same-origin",
}
ContentDigest = Annotated[
    str | None,
    HeaderParameter(
        name="Content-Digest", description="SHA-256 of the body (RFC 9530), compared when given."
    ),
]


@post(
    "/attachments",
    operation_id="store_attachment",
    summary="Store a file that records refer to",
    tags=_TAGS,
    guards=[requires("results.write")],
    responses=repeat_of(Attachment),
    # The body goes to disk as it comes in; the operator's limit is kept there.
    request_max_body_size=None,
    opt={REQUEST_MEDIA_TYPE: tuple(ATTACHMENT_TYPES), "problems": ["busy"]},
)
async def store_attachment(
    request: AnyRequest,
    workflows: Workflows,
    actor: ActorGiven,
    content_digest: ContentDigest = None,
) -> Response[Attachment]:
    """
    Keeps the bytes under their SHA-256, by which failure records name them.

    The same bytes are stored once and keep the media type that they came with first.
    """
    attachment, is_new = await workflows.attachments.take(
        request.stream(),
        actor,
        media_type=request.content_type[0].lower(),
        content_digest=content_digest,
    )
    location = address("attachments", attachment.sha256)
    return made(attachment, is_new=is_new, location=location)


@get(
    "/attachments/{sha256:str}",
    operation_id="read_attachment",
    summary="Read the bytes of an attachment",
    tags=_TAGS,
    guards=[requires("lots.read")],
    media_type="application/octet-stream",
)
async def read_attachment(
    sha256: Annotated[str, PathParameter(description="SHA-256 of the bytes, in hexadecimal.")],
    workflows: Workflows,
) -> File:
    """The bytes as they were sent, with their media type, to be saved and not shown."""
    kept = await workflows.attachments.find(sha256)
    attachment = kept.attachment
    return File(
        path=kept.path,
        filename=f"{attachment.attachment_id}.{ATTACHMENT_TYPES[attachment.media_type]}",
        media_type=attachment.media_type,
        content_disposition_type="attachment",
        etag=ETag(value=attachment.sha256),
        headers=_KEPT_AS_A_FILE,
    )


HANDLERS = [store_attachment, read_attachment]
