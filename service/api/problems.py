"""Every error of every route as one shape: application/problem+json, or a page for a browser."""

from __future__ import annotations

import logging
import secrets
from typing import Any

from litestar import Response
from litestar.connection import Request
from litestar.exceptions import HTTPException
from litestar.types import ExceptionHandlersMap

from schemas.problems import PROBLEM_MEDIA_TYPE, PROBLEM_TYPES, Problem, ProblemError
from service.api.templating import page
from service.errors import ServiceError, StorageBusy, TooManyRequests, problem_slug

_log = logging.getLogger(__name__)

AnyRequest = Request[Any, Any, Any]

_SLUG_OF_STATUS = {
    400: "invalid-request",
    401: "not-authenticated",
    403: "not-allowed",
    404: "not-found",
    405: "method-not-allowed",
    413: "too-large",
    415: "unsupported-media-type",
    429: "too-many-requests",
    503: "busy",
}
_DETAIL_OF_STATUS = {
    404: "There is nothing at this address.",
    405: "This address does not take the method {method}.",
    413: "The body is larger than this operation takes.",
}
_DISCONNECTED = "client disconnected"


def problem_answer(
    request: AnyRequest,
    slug: str,
    detail: str,
    *,
    errors: list[ProblemError] | None = None,
    headers: dict[str, str] | None = None,
) -> Response[Any]:
    """
    Answer for one problem.

    Parameters
    ----------
    request : Request
        What failed. Outside /v1 a caller that reads HTML is given a page.
    slug : str
        Kind of problem, a key of `PROBLEM_TYPES`.
    detail : str
        What is wrong in this case and what to do.
    errors : list of ProblemError, optional, keyword only
    headers : dict of str to str, optional, keyword only
    """
    problem = _problem(request, slug, detail, errors)
    return _rendered(request, slug, problem, dict(headers or {}))


def on_service_error(request: AnyRequest, error: ServiceError) -> Response[Any]:
    """Tell an error that storage, intake, a workflow or a guard raised."""
    headers = {}
    if isinstance(error, TooManyRequests | StorageBusy):
        headers["Retry-After"] = str(error.retry_after_s)
    slug = problem_slug(error)
    return problem_answer(request, slug, error.detail, errors=error.errors, headers=headers)


def on_http_error(request: AnyRequest, error: HTTPException) -> Response[Any]:
    """Tell an error that the framework raised: no such route, wrong method, body too large."""
    slug = _SLUG_OF_STATUS.get(error.status_code)
    if slug is None:
        if 400 <= error.status_code < 500:
            slug = "invalid-request"
        elif _DISCONNECTED in error.detail:
            # Nobody is left to read the answer; it is no fault of ours either.
            return problem_answer(request, "invalid-request", "The request was cut off.")
        else:
            return on_unexpected_error(request, error)
    found = error.extra if isinstance(error.extra, list) else []
    errors = [_framework_error(entry) for entry in found if isinstance(entry, dict)]
    template = _DETAIL_OF_STATUS.get(error.status_code, PROBLEM_TYPES[slug].meaning)
    detail = errors[0].detail if errors else template.format(method=request.method)
    return problem_answer(request, slug, detail, errors=errors, headers=error.headers)


def on_unexpected_error(request: AnyRequest, error: Exception) -> Response[Any]:
    """Tell an error of the mathematics by its kind; anything else by an incident id only."""
    slug = problem_slug(error)
    if slug != "internal":
        code = str(getattr(error, "code", slug.upper().replace("-", "_")))
        errors = [ProblemError(code=code, detail=str(error))]
        return problem_answer(request, slug, str(error), errors=errors)
    incident_id = f"inc_{secrets.token_hex(8)}"
    _log.error(
        "unexpected_error incident=%s method=%s path=%s",
        incident_id,
        request.method,
        request.url.path,
        exc_info=error,
    )
    detail = f"Give the incident id {incident_id} to whoever runs the service."
    problem = _problem(request, slug, detail, None, incident_id=incident_id)
    return _rendered(request, slug, problem, {})


EXCEPTION_HANDLERS: ExceptionHandlersMap = {
    ServiceError: on_service_error,
    HTTPException: on_http_error,
    Exception: on_unexpected_error,
}


def wants_page(request: AnyRequest) -> bool:
    """Whether the caller is a browser at an address for people."""
    reads_html = "text/html" in request.headers.get("accept", "")
    return reads_html and not request.url.path.startswith("/v1/")


def _problem(
    request: AnyRequest,
    slug: str,
    detail: str,
    errors: list[ProblemError] | None,
    *,
    incident_id: str | None = None,
) -> Problem:
    kind = PROBLEM_TYPES[slug]
    return Problem(
        type=f"/problems/{slug}",
        title=kind.title,
        status=kind.status,
        detail=detail,
        instance=request.url.path,
        errors=errors or [],
        incident_id=incident_id,
    )


def _rendered(
    request: AnyRequest, slug: str, problem: Problem, headers: dict[str, str]
) -> Response[Any]:
    if problem.status == 401:
        headers["WWW-Authenticate"] = 'Bearer realm="lotproof"'
    if wants_page(request):
        kind = PROBLEM_TYPES[slug]
        return page(
            "problem.html",
            status_code=problem.status,
            headers=headers,
            problem=problem,
            kind=kind,
        )
    return Response(
        problem, status_code=problem.status, media_type=PROBLEM_MEDIA_TYPE, headers=headers
    )


def _framework_error(entry: dict[str, Any]) -> ProblemError:
    """What the framework says about one argument of a handler."""
    key, source = str(entry.get("key", "")), str(entry.get("source", ""))
    in_body = source == "body" or key == "data"
    steps = [step for step in key.split(".") if step != "data"]
    return ProblemError(
        code="INVALID_VALUE",
        detail=str(entry.get("message", "This value is refused.")),
        pointer="".join(f"/{step}" for step in steps) if in_body else None,
        parameter=None if in_body else key or None,
    )
