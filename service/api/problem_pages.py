"""A page per kind of problem: what it means and what to do; `type` of an answer leads here."""

from __future__ import annotations

from litestar import Response, get
from litestar.params import FromPath

from schemas.problems import PROBLEM_TYPES
from service.api.templating import page
from service.errors import NotFound


@get("/problems", opt={"open": True}, include_in_schema=False)
async def list_problem_types() -> Response[str]:
    """All kinds of problem."""
    return page("problem_types.html", kinds=PROBLEM_TYPES)


@get("/problems/{slug:str}", opt={"open": True}, include_in_schema=False)
async def read_problem_type(slug: FromPath[str]) -> Response[str]:
    """One kind of problem."""
    if slug not in PROBLEM_TYPES:
        raise NotFound("kind of problem", slug)
    return page("problem_type.html", slug=slug, kind=PROBLEM_TYPES[slug])


HANDLERS = [list_problem_types, read_problem_type]
