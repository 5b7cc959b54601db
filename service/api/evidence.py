"""Evidence packs and the key they are signed with, over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get
from litestar.background_tasks import BackgroundTask
from litestar.params import FromPath, QueryParameter
from litestar.response import File

from schemas.evidence_packs import PublicKeys
from service.api.given import Workflows
from service.auth import requires

_TAGS = ["Evidence"]
WithUploads = Annotated[
    bool, QueryParameter(name="uploads", description="Whether the uploaded files are put in too.")
]


@get(
    "/decisions/{decision_id:str}/evidence",
    operation_id="read_decision_evidence",
    summary="Download the evidence of a decision",
    tags=_TAGS,
    guards=[requires("lots.read")],
    media_type="application/zip",
)
async def read_decision_evidence(
    decision_id: FromPath[str], workflows: Workflows, with_uploads: WithUploads = False
) -> File:
    """One signed archive: the verdict, what it rested on, digests of every file."""
    path = await workflows.evidence_packs.make(decision_id, with_uploads=with_uploads)
    return File(
        path=path,
        filename=f"{decision_id}.zip",
        media_type="application/zip",
        content_disposition_type="attachment",
        background=BackgroundTask(path.unlink, missing_ok=True),
    )


@get(
    "/keys",
    operation_id="list_public_keys",
    summary="List the public keys that evidence is signed with",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def list_public_keys(workflows: Workflows) -> Response[PublicKeys]:
    """The Ed25519 key of this data directory; note it down apart from the packs."""
    return Response(workflows.evidence_packs.keys())


HANDLERS = [read_decision_evidence, list_public_keys]
"""Handlers below /v1."""
