"""The contract: an OpenAPI 3.1 document made from the routes that are really served.

Schemas come from msgspec, the very types that bodies are decoded with, so that
every bound, and the refusal of unknown fields, is in the document as it is in
the program.
"""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

import msgspec
from litestar import Litestar, Response
from litestar.enums import MediaType
from litestar.handlers import HTTPRouteHandler
from litestar.typing import FieldDefinition
from msgspec import Struct

from schemas.problems import PROBLEM_MEDIA_TYPE, PROBLEM_TYPES, Problem
from service.api.parameters import DeclaredParameter, declared_parameters
from service.api.strict import JSON_MEDIA_TYPE, json_body_type, raw_media_types
from service.auth import scope_of
from service.tokens import SCOPE_MEANINGS

CONTRACT_VERSION = "1.2.0"
"""Version of the interface, apart from the program's: raised by openapi/CHANGELOG.md's rules."""

PROBLEMS = "problems"
"""Key in a handler's `opt`: slugs of further problems that it answers."""
REQUEST_EXAMPLE = "request_example"
RESPONSE_EXAMPLE = "response_example"
"""Keys in a handler's `opt`: plain data, shown in the document and executed by a test."""

_REF_TEMPLATE = "#/components/schemas/{name}"
_PREFIX = "/v1/"
_HEALTH = frozenset({"/healthz", "/readyz"})
_METHODS = ("get", "post", "put", "delete")
_NO_BODY = frozenset({204, 304})
_INTRODUCTION = (
    "Rigs post what they wrote, the service answers with the verdict of the lot and "
    "everything it rests on. Errors have one shape, application/problem+json. Fractions "
    "(reliability, confidence) lie strictly between 0 and 1; confidence is one-sided. "
    "Ignore fields of an answer that you do not know; unknown fields of a request are refused."
)


class ContractError(Exception):
    """A route cannot be described: it lacks an operation id, a summary or a scope."""


class Operation(Struct, frozen=True, kw_only=True):
    """One route and method of the interface."""

    path: str
    """As in the document, for example ``/v1/lots/{lot_id}``."""
    method: str
    handler: HTTPRouteHandler
    parameters: list[DeclaredParameter]
    body_type: Any | None
    response_types: dict[int, Any]
    """Status of success to the type of the answer; None where it has no body."""

    def types(self) -> Iterator[Any]:
        """Every type whose schema the document needs."""
        yield from (parameter.type for parameter in self.parameters)
        if self.body_type is not None:
            yield self.body_type
        yield from (kind for kind in self.response_types.values() if _has_schema(kind))


def operations(app: Litestar) -> list[Operation]:
    """Every operation of the interface, by path and method."""
    found = []
    for route in app.routes:
        for handler in getattr(route, "route_handlers", []):
            for method in handler.http_methods & {m.upper() for m in _METHODS}:
                if _is_interface(route.path) and handler.resolve_include_in_schema():
                    found.append(_operation(route.path, method.lower(), handler))
    return sorted(found, key=lambda o: (o.path, _METHODS.index(o.method)))


def build_contract(app: Litestar) -> dict[str, Any]:
    """
    The whole OpenAPI document.

    Raises
    ------
    ContractError
        If a route has no operation id, no summary, or an id that another has too.
    """
    found = operations(app)
    _check_identified(found)
    types = [Problem, *(kind for operation in found for kind in operation.types())]
    schemas, components = msgspec.json.schema_components(types, ref_template=_REF_TEMPLATE)
    schema_of = dict(zip((id(kind) for kind in types), schemas, strict=True))
    paths: dict[str, Any] = {}
    for operation in found:
        paths.setdefault(operation.path, {})[operation.method] = _described(operation, schema_of)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "lotproof",
            "version": CONTRACT_VERSION,
            "description": _INTRODUCTION,
        },
        "paths": paths,
        "components": {
            "schemas": dict(sorted(components.items())),
            "securitySchemes": {
                "bearer": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "A token that `lotproof token create` printed.",
                }
            },
        },
    }


def contract_text(app: Litestar) -> str:
    """The document as it is committed: the same routes give the same bytes."""
    return json.dumps(build_contract(app), indent=2, ensure_ascii=False) + "\n"


def problem_slugs(operation: Operation) -> list[str]:
    """Kinds of problem that an operation may answer with, by status."""
    handler = operation.handler
    slugs = {"invalid-request", "not-found", "internal", *handler.opt.get(PROBLEMS, [])}
    if scope_of(handler) is not None:
        slugs |= {"not-authenticated", "not-allowed"}
    if operation.body_type is not None or raw_media_types(handler):
        slugs |= {"too-large", "unsupported-media-type"}
    if unknown := slugs - PROBLEM_TYPES.keys():
        raise ContractError(f"{handler}: no such kind of problem: {sorted(unknown)}")
    return sorted(slugs, key=lambda slug: (PROBLEM_TYPES[slug].status, slug))


def _is_interface(path: str) -> bool:
    return path.startswith(_PREFIX) or path in _HEALTH


def _operation(path: str, method: str, handler: HTTPRouteHandler) -> Operation:
    return Operation(
        path=re.sub(r"\{(\w+):\w+\}", r"{\1}", path),
        method=method,
        handler=handler,
        parameters=declared_parameters(handler, path),
        body_type=json_body_type(handler),
        response_types=_response_types(handler),
    )


def _response_types(handler: HTTPRouteHandler) -> dict[int, Any]:
    """Type of the answer per status of success."""
    found = {handler.status_code: _unwrapped(handler.parsed_return_field)}
    for status, spec in (handler.responses or {}).items():
        if status < 400:
            found[status] = spec.data_container
    return dict(sorted(found.items()))


def _unwrapped(field: FieldDefinition) -> Any:
    """What is inside a Response; the raw kinds of answer have no schema."""
    if field.is_subclass_of(Response):
        return field.inner_types[0].annotation if field.inner_types else None
    return field.annotation


def _has_schema(kind: Any) -> bool:
    if kind in (None, type(None), Any, bytes, str):
        return False
    return not (isinstance(kind, type) and issubclass(kind, Response))


def _check_identified(found: list[Operation]) -> None:
    """Every operation has its own id and a summary."""
    seen: dict[str, str] = {}
    for operation in found:
        where = f"{operation.method.upper()} {operation.path}"
        name = operation.handler.operation_id
        if not isinstance(name, str) or not operation.handler.summary:
            raise ContractError(f"{where} needs an operation_id and a summary")
        if name in seen:
            raise ContractError(f"{where} and {seen[name]} are both called {name!r}")
        seen[name] = where


def _described(operation: Operation, schema_of: dict[int, Any]) -> dict[str, Any]:
    """One operation object of the document."""
    handler = operation.handler
    scope = scope_of(handler)
    text = handler.description or inspect.cleandoc(handler.fn.__doc__ or "")
    needs = f"Needs the scope `{scope}`: {SCOPE_MEANINGS[scope]}" if scope else "Open to anybody."
    described: dict[str, Any] = {
        "operationId": handler.operation_id,
        "summary": handler.summary,
        "description": f"{text}\n\n{needs}".strip(),
        "tags": sorted(handler.resolve_tags() or []),
        "security": [{"bearer": []}] if scope else [],
        "x-scope": scope,
    }
    if operation.parameters:
        described["parameters"] = [_parameter(p, schema_of) for p in operation.parameters]
    if (body := _request_body(operation, schema_of)) is not None:
        described["requestBody"] = body
    described["responses"] = {
        **_successes(operation, schema_of),
        **_problems(operation, schema_of[id(Problem)]),
    }
    return described


def _parameter(parameter: DeclaredParameter, schema_of: dict[int, Any]) -> dict[str, Any]:
    schema = dict(schema_of[id(parameter.type)])
    if parameter.default is not msgspec.UNSET and parameter.default is not None:
        schema["default"] = msgspec.to_builtins(parameter.default)
    described = {
        "name": parameter.name,
        "in": parameter.place,
        "required": parameter.required,
        "schema": schema,
    }
    if text := parameter.description or _identifies(parameter):
        described["description"] = text
    return described


def _identifies(parameter: DeclaredParameter) -> str:
    """What an identifier in a path stands for; its name says it."""
    if parameter.place != "path" or not parameter.name.endswith("_id"):
        return ""
    thing = parameter.name.removesuffix("_id").replace("_", " ")
    return f"Identifier of the {thing}, as answers give it."


def _request_body(operation: Operation, schema_of: dict[int, Any]) -> dict[str, Any] | None:
    opt = operation.handler.opt
    if operation.body_type is not None:
        content: dict[str, Any] = {"schema": schema_of[id(operation.body_type)]}
        if REQUEST_EXAMPLE in opt:
            content["example"] = opt[REQUEST_EXAMPLE]
        return {"required": True, "content": {JSON_MEDIA_TYPE: content}}
    if media_types := raw_media_types(operation.handler):
        # OpenAPI 3.1 describes raw bytes by the media type alone, with an empty schema.
        return {"required": True, "content": {media_type: {} for media_type in media_types}}
    return None


def _successes(operation: Operation, schema_of: dict[int, Any]) -> dict[str, Any]:
    handler = operation.handler
    described: dict[str, Any] = {}
    for status, kind in operation.response_types.items():
        spec = (handler.responses or {}).get(status)
        phrase = HTTPStatus(status).phrase
        response: dict[str, Any] = {"description": spec.description if spec else phrase}
        if headers := _response_headers(handler):
            response["headers"] = headers
        if status not in _NO_BODY:
            content: dict[str, Any] = {"schema": schema_of[id(kind)]} if _has_schema(kind) else {}
            if RESPONSE_EXAMPLE in handler.opt and status == handler.status_code:
                content["example"] = handler.opt[RESPONSE_EXAMPLE]
            response["content"] = {_media_type(handler): content}
        described[str(status)] = response
    return described


def _response_headers(handler: HTTPRouteHandler) -> dict[str, Any]:
    """Headers that a route says it sends, for example Location and ETag."""
    headers = sorted(handler.resolve_response_headers(), key=lambda header: header.name)
    return {
        header.name: {"description": header.description or "", "schema": {"type": "string"}}
        for header in headers
    }


def _media_type(handler: HTTPRouteHandler) -> str:
    media_type = handler.media_type or JSON_MEDIA_TYPE  # the framework leaves a Response's open
    return media_type.value if isinstance(media_type, MediaType) else media_type


def _problems(operation: Operation, schema: Any) -> dict[str, Any]:
    """Problem answers, one per status; the description names the kinds."""
    by_status: dict[int, list[str]] = {}
    for slug in problem_slugs(operation):
        by_status.setdefault(PROBLEM_TYPES[slug].status, []).append(slug)
    return {
        str(status): {
            "description": " ".join(
                f"{PROBLEM_TYPES[slug].title} (`/problems/{slug}`)." for slug in slugs
            ),
            "content": {PROBLEM_MEDIA_TYPE: {"schema": schema}},
        }
        for status, slugs in sorted(by_status.items())
    }
