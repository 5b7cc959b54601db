"""The few pages of the frame itself: documentation, kinds of problem, signing in."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from litestar import Response
from litestar.enums import MediaType


@lru_cache(maxsize=1)
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("service.api", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page(
    template: str,
    *,
    status_code: int = 200,
    headers: dict[str, str] | None = None,
    **values: Any,
) -> Response[str]:
    """A page of the frame, filled in with `values`."""
    text = _environment().get_template(template).render(**values)
    return Response(text, status_code=status_code, media_type=MediaType.HTML, headers=headers)


@lru_cache(maxsize=8)
def static_file(name: str) -> bytes:
    """Content of a file that comes with the package."""
    return files("service.api").joinpath("static", name).read_bytes()
