"""Nothing is guessed: bodies and parameters are read strictly before a handler runs.

The framework converts leniently: it takes ``"0.9"`` for a number and ignores
parameters it does not know. Here a misspelt name or a wrong type is a refusal
that says where it stands.
"""

from __future__ import annotations

import difflib
import json
import math
import re
from collections import Counter
from collections.abc import Iterable
from functools import lru_cache
from typing import Any, get_args, get_origin

import msgspec
from litestar.connection import Request
from litestar.handlers import BaseRouteHandler
from litestar.params import BodyKwarg
from litestar.utils.scope.state import ScopeState

from schemas.problems import ProblemError
from service.api.parameters import DeclaredParameter, declared_parameters
from service.errors import InvalidRequest, UploadRefused

AnyRequest = Request[Any, Any, Any]

JSON_MEDIA_TYPE = "application/json"
REQUEST_MEDIA_TYPE = "request_media_type"
"""Key in a handler's `opt`: the media type, or types, of a body that the handler reads raw."""

_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?")
_PLACE = re.compile(r" - at `(?:key in )?\$(?P<path>[^`]*)`$")
_STEP = re.compile(r"\.([^.\[]+)|\[(\d+|\.\.\.)\]")
_UNKNOWN_FIELD = re.compile(r"Object contains unknown field `(?P<name>[^`]*)`")
_MISSING_FIELD = re.compile(r"Object missing required field `(?P<name>[^`]*)`")


async def check_request(request: AnyRequest) -> None:
    """
    Refuse a request whose parameters or body are not exactly as declared.

    Runs before every handler, after the guards. A JSON body is decoded here, and
    the handler is given this very object.

    Raises
    ------
    InvalidRequest
        A parameter or the body is unknown, missing, malformed or out of range.
    UploadRefused
        The media type of the body is not the one that the operation reads.
    """
    if request.method == "OPTIONS":
        return
    handler = request.route_handler
    declared = _query_parameters(handler, request.scope["path_template"])
    given = list(request.query_params.multi_items())
    if errors := query_errors(declared, [(name, str(value)) for name, value in given]):
        raise InvalidRequest(errors)
    if media_types := raw_media_types(handler):
        _check_media_type(request, *media_types)
    if (body_type := json_body_type(handler)) is not None:
        _check_media_type(request, JSON_MEDIA_TYPE)
        decoded = decode_body(await request.body(), body_type)
        # Without this the framework would decode the bytes again, leniently.
        ScopeState.from_scope(request.scope).json = decoded


def raw_media_types(handler: BaseRouteHandler) -> tuple[str, ...]:
    """Media types of a body that a handler reads raw; empty if it reads none."""
    named: str | tuple[str, ...] = handler.opt.get(REQUEST_MEDIA_TYPE, ())
    return (named,) if isinstance(named, str) else named


def json_body_type(handler: BaseRouteHandler) -> Any | None:
    """Type of the JSON body that a handler takes as `data`; None if it takes none."""
    field = handler.parsed_data_field
    if field is None or field.annotation in (bytes, Any):
        return None
    body = field.kwarg_definition
    if isinstance(body, BodyKwarg) and body.media_type != JSON_MEDIA_TYPE:
        return None
    return field.annotation


class _NameRepeated(Exception):
    """An object of a body has two values under one name."""


def _each_name_once(pairs: list[tuple[str, Any]]) -> None:
    """The decoder takes the last of two values; a signed body must not be read two ways."""
    names: set[str] = set()
    for name, _ in pairs:
        if name in names:
            raise _NameRepeated(name)
        names.add(name)


def decode_body(raw: bytes, body_type: Any) -> Any:
    """
    A JSON body as the type it must have.

    Raises
    ------
    InvalidRequest
        With one error that points to the first place that is wrong.
    """
    if not raw.strip():
        raise InvalidRequest(
            [ProblemError(code="BODY_MISSING", detail="The body is empty.", pointer="")]
        )
    try:
        decoded = _decoder(body_type).decode(raw)
        json.loads(raw, object_pairs_hook=_each_name_once)
        return decoded
    except _NameRepeated as repeated:
        detail = f"The field {str(repeated)!r} stands twice in one object; keep one."
        raise InvalidRequest(
            [ProblemError(code="FIELD_REPEATED", detail=detail, pointer="")]
        ) from None
    except msgspec.ValidationError as refusal:
        # A body that was cut off may look wrong before its end is reached.
        error = _syntax_error(raw) or body_error(str(refusal), body_type)
        raise InvalidRequest([error]) from None
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as broken:
        raise InvalidRequest([_not_json(broken)]) from None


def _syntax_error(raw: bytes) -> ProblemError | None:
    """That a body is no JSON as a whole; None if it is, or is too deep to tell."""
    try:
        json.loads(raw)
    except (json.JSONDecodeError, UnicodeDecodeError) as broken:
        return _not_json(broken)
    except RecursionError:
        return None
    return None


def _not_json(broken: Exception) -> ProblemError:
    detail = f"The body is not JSON: {broken}."
    return ProblemError(code="BODY_NOT_JSON", detail=detail, pointer="")


def body_error(message: str, body_type: Any) -> ProblemError:
    """
    A refusal of the decoder as an error with a JSON Pointer.

    Examples
    --------
    >>> body_error("Expected `float`, got `str` - at `$.stages[1].reliability`", dict).pointer
    '/stages/1/reliability'
    """
    place = _PLACE.search(message)
    steps = _STEP.findall(place["path"]) if place else []
    # "[...]" stands for a key of a free mapping; its name is not told.
    names = [name or index for name, index in steps if index != "..."]
    pointer = "".join(f"/{_escaped(name)}" for name in names)
    plain = _PLACE.sub("", message)
    if (unknown := _UNKNOWN_FIELD.search(plain)) is not None:
        near = difflib.get_close_matches(unknown["name"], _field_names(body_type), n=1)
        return ProblemError(
            code="UNKNOWN_FIELD",
            detail=f"There is no field {unknown['name']!r} here.",
            pointer=f"{pointer}/{_escaped(unknown['name'])}",
            suggestion=near[0] if near else None,
        )
    if (missing := _MISSING_FIELD.search(plain)) is not None:
        name = missing["name"]
        return ProblemError(
            code="MISSING_FIELD", detail=f"The field {name!r} is missing.", pointer=pointer
        )
    return ProblemError(code="INVALID_VALUE", detail=f"{plain}.", pointer=pointer)


def query_errors(
    declared: Iterable[DeclaredParameter], given: list[tuple[str, str]]
) -> list[ProblemError]:
    """Everything that is wrong with the query of a request; empty if nothing is."""
    known = {parameter.name: parameter for parameter in declared}
    counts = Counter(name for name, _ in given)
    errors = [_unknown(name, known) for name in counts if name not in known]
    for parameter in known.values():
        values = [value for name, value in given if name == parameter.name]
        error = _value_error(parameter, values)
        errors += [error] if error else []
    return errors


def _unknown(name: str, known: Iterable[str]) -> ProblemError:
    near = difflib.get_close_matches(name, list(known), n=1)
    listed = ", ".join(sorted(known)) or "none"
    return ProblemError(
        code="UNKNOWN_PARAMETER",
        detail=f"There is no parameter {name!r} here; there are: {listed}.",
        parameter=name,
        suggestion=near[0] if near else None,
    )


def _value_error(parameter: DeclaredParameter, values: list[str]) -> ProblemError | None:
    """What is wrong with the values of one declared query parameter, if anything."""
    name = parameter.name
    if not values:
        if not parameter.required:
            return None
        detail = f"The parameter {name} is missing."
        return ProblemError(code="MISSING_PARAMETER", detail=detail, parameter=name)
    if len(values) > 1 and not parameter.is_list:
        detail = f"The parameter {name} is given {len(values)} times."
        return ProblemError(code="REPEATED_PARAMETER", detail=detail, parameter=name)
    if _is_number(parameter.type) and not _is_finite_number(values[0]):
        detail = f"{name}: expected a finite number, got {values[0]!r}."
        return ProblemError(code="NOT_A_NUMBER", detail=detail, parameter=name)
    try:
        msgspec.convert(values if parameter.is_list else values[0], parameter.type, strict=False)
    except msgspec.ValidationError as refusal:
        detail = f"{name}: {refusal}."
        return ProblemError(code="INVALID_VALUE", detail=detail, parameter=name)
    return None


def _is_number(kind: Any) -> bool:
    """Whether a type is int, float, or a union of them with None; bounds do not matter."""
    if hasattr(kind, "__metadata__"):
        return _is_number(kind.__origin__)
    if get_origin(kind) is None:
        return kind in (int, float)
    members = [member for member in get_args(kind) if member is not type(None)]
    is_union = type(None) in get_args(kind) or len(members) > 1
    return is_union and bool(members) and all(_is_number(member) for member in members)


def _is_finite_number(text: str) -> bool:
    return _NUMBER.fullmatch(text) is not None and math.isfinite(float(text))


def _check_media_type(request: AnyRequest, *wanted: str) -> None:
    """Refuse another media type, and any content encoding."""
    media_type, parameters = request.content_type
    charset = parameters.get("charset", "utf-8").strip("\"'").lower()
    encoding = request.headers.get("content-encoding", "identity").strip().lower()
    if media_type.lower() not in wanted or charset not in ("utf-8", "utf8"):
        code, detail = "MEDIA_TYPE", f"Send the body as {' or '.join(wanted)}."
    elif encoding != "identity":
        code, detail = "CONTENT_ENCODING", "Send the body without a content encoding."
    else:
        return
    raise UploadRefused([ProblemError(code=code, detail=detail)], "unsupported-media-type")


@lru_cache(maxsize=512)
def _query_parameters(handler: BaseRouteHandler, path: str) -> tuple[DeclaredParameter, ...]:
    return tuple(p for p in declared_parameters(handler, path) if p.place == "query")


@lru_cache(maxsize=512)
def _decoder(body_type: Any) -> msgspec.json.Decoder[Any]:
    return msgspec.json.Decoder(body_type, strict=True)


def _field_names(body_type: Any) -> list[str]:
    """Names of all fields of a body, at any depth."""
    _, components = msgspec.json.schema_components([body_type])
    names = {name for schema in components.values() for name in schema.get("properties", {})}
    return sorted(names)


def _escaped(name: str) -> str:
    """A name as a step of a JSON Pointer (RFC 6901)."""
    return name.replace("~", "~0").replace("/", "~1")
