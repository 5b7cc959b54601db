"""What an error answer looks like (RFC 9457), and the catalogue of its kinds."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

PROBLEM_MEDIA_TYPE = "application/problem+json"
MAX_ROWS_NAMED = 10
"""An error of a table names at most this many rows; `row_count` has them all."""


class ProblemError(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One thing that is wrong: a code for machines, a sentence for people, and where.

    Only the fields that apply are sent. `rows` holds at most ten row numbers,
    counted from 1 in the order of the file; `row_count` says how many rows are
    concerned in all.
    """

    code: Annotated[str, Meta(description="Stable name of the fault, UPPER_SNAKE_CASE.")]
    detail: Annotated[str, Meta(description="What is wrong and what to do about it.")]
    pointer: Annotated[
        str | None, Meta(description="JSON Pointer into the body; empty for the whole body.")
    ] = None
    parameter: Annotated[
        str | None, Meta(description="Name of the query parameter or header concerned.")
    ] = None
    column: Annotated[str | None, Meta(description="Column of the uploaded table.")] = None
    rows: Annotated[
        list[int] | None, Meta(description="Up to ten row numbers, the first row is 1.")
    ] = None
    row_count: Annotated[int | None, Meta(description="How many rows are concerned.")] = None
    suggestion: Annotated[
        str | None, Meta(description="A value that would have been accepted, if one is near.")
    ] = None


class Problem(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The one shape of every error answer; sent as application/problem+json."""

    type: Annotated[str, Meta(description="/problems/<kind>; a page there explains it.")]
    title: Annotated[str, Meta(description="The kind in words; the same for every case of it.")]
    status: Annotated[int, Meta(ge=400, le=599, description="The HTTP status of the answer.")]
    detail: Annotated[str, Meta(description="What is wrong in this case and what to do.")]
    instance: Annotated[str, Meta(description="Path of the request that failed.")]
    errors: Annotated[
        list[ProblemError], Meta(description="The single faults, when there are any to name.")
    ] = []
    incident_id: Annotated[
        str | None, Meta(description="On an internal error: the id under which it was logged.")
    ] = None


class ProblemType(Struct, frozen=True, kw_only=True):
    """One kind of problem: its fixed title and status, what it means, what to do."""

    title: str
    status: int
    meaning: str
    remedy: str


PROBLEM_TYPES: dict[str, ProblemType] = {
    "invalid-request": ProblemType(
        title="The request is not valid",
        status=400,
        meaning=(
            "The body or a parameter of the request is malformed, misspelt, missing, unknown "
            "or outside its range. Nothing was stored."
        ),
        remedy=(
            "Read `errors`: each entry names the place by a JSON Pointer or by the parameter. "
            "Correct it and send the request again."
        ),
    ),
    "outside-domain": ProblemType(
        title="A number is outside the range of the method",
        status=400,
        meaning=(
            "The request is well formed, but a method cannot be applied to the numbers in it, "
            "for example a confidence that is not strictly between 0 and 1."
        ),
        remedy="`detail` names the quantity, what is allowed and what was given.",
    ),
    "upload-refused": ProblemType(
        title="The uploaded table was refused",
        status=400,
        meaning=(
            "The file is not a Parquet table that meets the description of the cycle table or "
            "the lives table. Nothing of it was stored."
        ),
        remedy=(
            "Each entry of `errors` names a column, up to ten rows and what to change. Correct "
            "the file and send it again; a refused file leaves no trace."
        ),
    ),
    "not-authenticated": ProblemType(
        title="Who is asking is not known",
        status=401,
        meaning="The request carries no bearer token, or one that is unknown or revoked.",
        remedy=(
            "Send `Authorization: Bearer <token>`. Whoever runs the service makes one with "
            "`lotproof token create`. In a browser, sign in first."
        ),
    ),
    "not-allowed": ProblemType(
        title="The token does not allow this",
        status=403,
        meaning=(
            "The caller is known but lacks the scope that this operation needs, or is a program "
            "where a person must sign."
        ),
        remedy="Use a token that holds the scope named in `detail`, a person's where it says so.",
    ),
    "not-found": ProblemType(
        title="There is no such thing",
        status=404,
        meaning="Nothing is stored under this address, or the address itself does not exist.",
        remedy="Check the identifier; identifiers are compared letter by letter.",
    ),
    "method-not-allowed": ProblemType(
        title="This address does not take that method",
        status=405,
        meaning="The address exists, but not with the HTTP method used.",
        remedy="The `Allow` header lists the methods that it takes.",
    ),
    "conflict": ProblemType(
        title="The request clashes with what is stored",
        status=409,
        meaning=(
            "Something is already stored under the same key with other content, or the state "
            "of the thing does not permit the change. Nothing was changed."
        ),
        remedy="Read the stored thing first; stored facts are added to, never replaced.",
    ),
    "not-decidable": ProblemType(
        title="There is no verdict to record",
        status=409,
        meaning="Only ACCEPT and REJECT can be recorded; the lot stands at CONTINUE or HOLD.",
        remedy=(
            "Read the evaluation of the lot: it says what is still needed within the plan, and "
            "which holds are open."
        ),
    ),
    "spec-frozen": ProblemType(
        title="An approved specification cannot be changed",
        status=409,
        meaning="Only a draft can be changed or deleted; this version is approved or superseded.",
        remedy="Make the next version as a draft and have that approved.",
    ),
    "stale-version": ProblemType(
        title="What you saw has changed since",
        status=412,
        meaning="The entity tag in `If-Match` is no longer the current one; nothing was changed.",
        remedy="Read it again, look at what changed, then send the request with the new tag.",
    ),
    "too-large": ProblemType(
        title="The body is too large",
        status=413,
        meaning="The body is larger than this service takes.",
        remedy="Send the table in several uploads; the order does not matter.",
    ),
    "unsupported-media-type": ProblemType(
        title="The body has the wrong media type",
        status=415,
        meaning="The `Content-Type` of the request is not one that this operation reads.",
        remedy=(
            "Send JSON as application/json and tables as application/vnd.apache.parquet, "
            "without a content encoding."
        ),
    ),
    "precondition-required": ProblemType(
        title="The request must say which version it is about",
        status=428,
        meaning="This operation needs an `If-Match` header, so that nobody signs moved data.",
        remedy="Read the thing first and send its `ETag` as `If-Match`.",
    ),
    "too-many-requests": ProblemType(
        title="Too many attempts",
        status=429,
        meaning="There were too many failed attempts from this address in a short time.",
        remedy="Wait as many seconds as the `Retry-After` header says.",
    ),
    "busy": ProblemType(
        title="The service is busy",
        status=503,
        meaning="The service is starting, or another upload is being written. Nothing was stored.",
        remedy="Send the same request again after the seconds in the `Retry-After` header.",
    ),
    "internal": ProblemType(
        title="The service failed",
        status=500,
        meaning="A fault of the service itself. The answer tells nothing but an incident id.",
        remedy="Give the incident id to whoever runs the service; the log has the rest.",
    ),
}
"""Every kind of problem by its slug; `type` of an answer is ``/problems/<slug>``."""
