"""Which parameters a route declares; strict checking and the contract both ask here."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal, Union, get_args

import msgspec
from litestar.handlers import BaseRouteHandler
from litestar.params import KwargDefinition, ParameterKwarg
from litestar.typing import FieldDefinition
from msgspec import Meta, Struct

Place = Literal["path", "query", "header"]

_PLACES: dict[str, Place] = {"path": "path", "query": "query", "header": "header"}
_RESERVED = frozenset({"body", "cookies", "data", "headers", "query", "request", "scope", "state"})
_CONSTRAINTS = (
    "gt", "ge", "lt", "le", "multiple_of", "pattern", "min_length", "max_length",
)  # fmt: skip


class DeclaredParameter(Struct, frozen=True, kw_only=True):
    """One path, query or header parameter of a route, own or of something it depends on."""

    name: str
    place: Place
    type: Any
    """Its type with every bound, as msgspec reads it."""
    required: bool
    default: Any
    description: str
    is_list: bool


def declared_parameters(handler: BaseRouteHandler, path: str) -> list[DeclaredParameter]:
    """
    Parameters of a route: path first, then query, then header, each by name.

    Parameters
    ----------
    handler : BaseRouteHandler
        A registered handler.
    path : str
        The route's path as registered, for example ``/v1/lots/{lot_id:str}``.
    """
    found = {(p.place, p.name): p for p in _walk(handler, path, handler.parsed_fn_signature)}
    order = list(_PLACES)
    return sorted(found.values(), key=lambda p: (order.index(p.place), p.name))


def _walk(handler: BaseRouteHandler, path: str, signature: Any) -> Iterator[DeclaredParameter]:
    """Parameters of a function and of the dependencies it takes."""
    dependencies = handler.resolve_dependencies()
    for name, field in signature.parameters.items():
        if name in _RESERVED:
            continue
        if name in dependencies:
            yield from _walk(handler, path, dependencies[name].parsed_fn_signature)
        elif (declared := _declared(name, field, path)) is not None:
            yield declared


def _declared(name: str, field: FieldDefinition, path: str) -> DeclaredParameter | None:
    kwarg = field.kwarg_definition if isinstance(field.kwarg_definition, ParameterKwarg) else None
    in_path = f"{{{name}}}" in path or f"{{{name}:" in path
    kind = "path" if in_path else kwarg.param_type.value if kwarg else "query"
    if kind not in _PLACES:
        return None
    alias = kwarg.name if kwarg and kwarg.name else name
    default = field.default if field.has_default else msgspec.UNSET
    return DeclaredParameter(
        name=alias,
        place=_PLACES[kind],
        type=_wire_type(field),
        required=not field.has_default and not field.is_optional,
        default=default,
        description=_description(field),
        is_list=field.is_non_string_sequence,
    )


def _wire_type(field: FieldDefinition) -> Any:
    """The declared type with the bounds of both spellings: msgspec's and the framework's."""
    metas = [meta for meta in field.metadata if isinstance(meta, Meta)]
    kwarg = field.kwarg_definition
    if isinstance(kwarg, KwargDefinition):
        given = {name: getattr(kwarg, name) for name in _CONSTRAINTS}
        bounds = {name: value for name, value in given.items() if value is not None}
        metas += [Meta(**bounds)] if bounds else []
    # A bound on "a text or nothing" is one on the text: msgspec takes it only there.
    members = [m for m in get_args(field.annotation) if m is not type(None)]
    wire: Any = Union[tuple(members)] if field.is_optional else field.annotation  # noqa: UP007
    for meta in metas:
        wire = Annotated[wire, meta]
    return wire | None if field.is_optional else wire


def _description(field: FieldDefinition) -> str:
    kwarg = field.kwarg_definition
    if isinstance(kwarg, KwargDefinition) and kwarg.description:
        return kwarg.description
    described = [m.description for m in field.metadata if isinstance(m, Meta) and m.description]
    return described[-1] if described else ""
