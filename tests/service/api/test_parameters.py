"""Parameters of a route, its own and those of what it depends on."""

from typing import Annotated, Any

from frame import frame_with
from litestar import get
from litestar.connection import Request
from litestar.di import NamedDependency, Provide
from litestar.params import FromPath, FromQuery, HeaderParameter, QueryParameter
from msgspec import UNSET, Meta

from service.api.parameters import declared_parameters

Fraction = Annotated[float, Meta(gt=0, lt=1, description="A fraction.")]


async def inner(limit: Annotated[int, QueryParameter(ge=1, description="Most.")] = 50) -> int:
    return limit


async def outer(nested: NamedDependency[int], order: FromQuery[str] = "up") -> str:
    return f"{nested}{order}"


@get(
    "/{lot_id:str}",
    opt={"open": True},
    dependencies={"nested": Provide(inner), "sorting": Provide(outer)},
)
async def read(
    request: Request[Any, Any, Any],
    lot_id: FromPath[str],
    reliability: FromQuery[Fraction],
    sorting: NamedDependency[str],
    if_match: Annotated[str | None, HeaderParameter(name="If-Match")] = None,
    shape: FromQuery[list[float] | None] = None,
    name: Annotated[str | None, QueryParameter(min_length=1)] = None,
) -> None: ...


def test_all_parameters_are_found_in_order_with_bounds_and_defaults(tmp_path: Any) -> None:
    with frame_with([read], tmp_path) as client:
        [route] = [r for r in client.app.routes if r.path == "/v1/trial/{lot_id:str}"]
        [handler] = [h for h in route.route_handlers if "GET" in h.http_methods]
        found = declared_parameters(handler, route.path)
    assert [(p.place, p.name, p.required) for p in found] == [
        ("path", "lot_id", True),
        ("query", "limit", False),
        ("query", "name", False),
        ("query", "order", False),
        ("query", "reliability", True),
        ("query", "shape", False),
        ("header", "If-Match", False),
    ]
    by_name = {p.name: p for p in found}
    assert by_name["reliability"].type == Fraction
    assert by_name["reliability"].default is UNSET
    assert by_name["reliability"].description == "A fraction."
    assert by_name["limit"].type == Annotated[int, Meta(ge=1)]
    assert by_name["limit"].default == 50
    assert by_name["limit"].description == "Most."
    assert by_name["shape"].is_list
    assert by_name["name"].type == Annotated[str, Meta(min_length=1)] | None
