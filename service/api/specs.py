"""Specifications and their versions over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, delete, get, post, put
from litestar.params import FromPath, HeaderParameter, JSONBody, PathParameter

from schemas.paging import Page
from schemas.specs import Spec, SpecApproval, SpecSummary, SpecVersion
from service.api.answers import address, made, repeat_of, tagged
from service.api.etag import key_seen
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, after_text
from service.api.paging import PAGING, PagingGiven, page_of
from service.auth import requires

_TAGS = ["Specifications"]
SpecId = FromPath[str]
Version = Annotated[int, PathParameter(ge=1, le=2**31 - 1, description="Number of the version.")]
IfMatch = Annotated[
    str | None, HeaderParameter(name="If-Match", description="ETag of the version as it was read.")
]
IfNoneMatch = Annotated[
    str | None, HeaderParameter(name="If-None-Match", description="ETag that the caller has.")
]


@post(
    "/specs",
    operation_id="create_spec",
    summary="Draft a test specification",
    tags=_TAGS,
    guards=[requires("lots.write")],
    responses=repeat_of(SpecVersion),
    opt={"problems": ["conflict"]},
)
async def create_spec(
    data: JSONBody[Spec], workflows: Workflows, actor: ActorGiven
) -> Response[SpecVersion]:
    """Version 1 of a specification, as a draft. The same content again adds nothing."""
    version, is_new = await workflows.specs.create(data, actor)
    return made(version, is_new=is_new, location=_place(version))


@get(
    "/specs",
    operation_id="list_specs",
    summary="List test specifications",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_specs(
    request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[SpecSummary]:
    """Specifications by id, each by its newest version."""
    found = await workflows.specs.summaries(after=after_text(paging), limit=paging.fetch_count)
    return page_of(found, request=request, paging=paging, key=lambda spec: [spec.spec_id])


@post(
    "/specs/{spec_id:str}/versions",
    operation_id="create_spec_version",
    summary="Draft the next version of a specification",
    tags=_TAGS,
    guards=[requires("lots.write")],
    responses=repeat_of(SpecVersion),
    opt={"problems": ["not-found"]},
)
async def create_spec_version(
    spec_id: SpecId, data: JSONBody[Spec], workflows: Workflows, actor: ActorGiven
) -> Response[SpecVersion]:
    """The next version, as a draft; the content of a version in use again adds nothing."""
    version, is_new = await workflows.specs.add_version(spec_id, data, actor)
    return made(version, is_new=is_new, location=_place(version))


@get(
    "/specs/{spec_id:str}/versions",
    operation_id="list_spec_versions",
    summary="List the versions of a specification",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_spec_versions(
    spec_id: SpecId, request: AnyRequest, workflows: Workflows, paging: PagingGiven
) -> Page[SpecVersion]:
    """Versions in ascending order, with their states."""
    found = await workflows.specs.versions(
        spec_id, after=after_number(paging), limit=paging.fetch_count
    )
    return page_of(found, request=request, paging=paging, key=lambda each: [each.version])


@get(
    "/specs/{spec_id:str}/versions/{version:int}",
    operation_id="read_spec_version",
    summary="Read a version of a specification",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_spec_version(
    spec_id: SpecId, version: Version, workflows: Workflows
) -> Response[SpecVersion]:
    """One version with its state; `settings_not_applied` names what no rule uses yet."""
    found = await workflows.specs.find(spec_id, version)
    return tagged(found, found.hash)


@put(
    "/specs/{spec_id:str}/versions/{version:int}",
    operation_id="replace_spec_draft",
    summary="Give a draft another content",
    tags=_TAGS,
    guards=[requires("lots.write")],
    opt={"problems": ["spec-frozen", "stale-version"]},
)
async def replace_spec_draft(
    spec_id: SpecId,
    version: Version,
    data: JSONBody[Spec],
    workflows: Workflows,
    actor: ActorGiven,
    if_match: IfMatch = None,
) -> Response[SpecVersion]:
    """Replaces the content of a draft; with If-Match only if it is the one that was read."""
    seen = None if if_match is None else key_seen(if_match)
    found = await workflows.specs.replace((spec_id, version), data, actor, hash_seen=seen)
    return tagged(found, found.hash)


@delete(
    "/specs/{spec_id:str}/versions/{version:int}",
    operation_id="delete_spec_draft",
    summary="Delete a draft",
    tags=_TAGS,
    guards=[requires("lots.write")],
    status_code=204,
    opt={"problems": ["spec-frozen"]},
)
async def delete_spec_draft(
    spec_id: SpecId, version: Version, workflows: Workflows, actor: ActorGiven
) -> None:
    """Deletes a draft. Its number is not used again."""
    await workflows.specs.delete(spec_id, version, actor)


@put(
    "/specs/{spec_id:str}/versions/{version:int}/approval",
    operation_id="approve_spec_version",
    summary="Approve a version of a specification",
    tags=_TAGS,
    guards=[requires("specs.approve")],
    opt={"problems": ["spec-frozen", "stale-version"]},
)
async def approve_spec_version(
    spec_id: SpecId,
    version: Version,
    data: JSONBody[SpecApproval],
    workflows: Workflows,
    actor: ActorGiven,
    if_match: IfMatch = None,
) -> Response[SpecVersion]:
    """Freezes a draft. It must show what it requires; the version approved before is superseded."""
    seen = None if if_match is None else key_seen(if_match)
    found = await workflows.specs.approve((spec_id, version), data, actor, hash_seen=seen)
    return tagged(found, found.hash)


HANDLERS = [
    create_spec,
    list_specs,
    create_spec_version,
    list_spec_versions,
    read_spec_version,
    replace_spec_draft,
    delete_spec_draft,
    approve_spec_version,
]


def _place(version: SpecVersion) -> str:
    return address("specs", version.spec_id, "versions", version.version)
