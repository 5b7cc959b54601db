"""Is the process alive, and is it ready for the first request?"""

from __future__ import annotations

from typing import Any, Literal

from litestar import get
from litestar.connection import Request
from msgspec import Struct

from service.errors import StorageBusy


class Health(Struct, frozen=True, kw_only=True):
    """State of the process."""

    status: Literal["alive", "ready"]


@get(
    "/healthz",
    operation_id="read_liveness",
    summary="Is the process alive?",
    tags=["Health"],
    opt={"open": True},
)
async def read_liveness() -> Health:
    """Always 200 while the process can answer at all."""
    return Health(status="alive")


@get(
    "/readyz",
    operation_id="read_readiness",
    summary="Is the service ready?",
    tags=["Health"],
    opt={"open": True, "problems": ["busy"]},
)
async def read_readiness(request: Request[Any, Any, Any]) -> Health:
    """200 once the store is open and everything the first request needs is loaded."""
    if not request.app.state.readiness.ready:
        raise StorageBusy("The service is starting; try again.", retry_after_s=1)
    return Health(status="ready")


HANDLERS = [read_liveness, read_readiness]
