"""The composition root: puts settings, tokens, workflows and routes together."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any, Protocol, cast

from anyio import to_thread
from litestar import Litestar, Router
from litestar.connection import Request
from litestar.datastructures import MutableScopeHeaders, State
from litestar.di import Provide
from litestar.types import Message, Scope

from service.api.problems import EXCEPTION_HANDLERS
from service.api.routes import OWN, PAGES, ROUTERS
from service.api.strict import check_request
from service.auth import scope_of
from service.errors import ServiceError
from service.sessions import Sessions
from service.settings import Settings
from service.tokens import Actor, TokenStore
from service.warm_up import warm_up

MAX_JSON_BODY_BYTES = 8 * 1024**2
"""Largest JSON body; an upload sets its own limit on its route."""

_PAGE_HEADERS = {
    "content-security-policy": (
        "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
        "form-action 'self'; frame-ancestors 'none'"
    ),
    "referrer-policy": "same-origin",
}


class Workflows(Protocol):
    """What the frame itself needs of the object that all handlers work with."""

    @property
    def ready(self) -> bool:
        """Whether the store is open and can take a request."""

    async def close(self) -> None:
        """Finish what is being written and close the store."""


class Readiness:
    """Whether the first request can be answered without waiting for an import."""

    def __init__(self) -> None:
        self.workflows: Workflows | None = None
        self.warm = False
        self.refusal = ""
        """Why the store was not opened, in words for the operator."""

    @property
    def ready(self) -> bool:
        """Whether the store is open and the numerical libraries are loaded."""
        return self.warm and self.workflows is not None and self.workflows.ready


class Service(Litestar):
    """The application; HEAD is answered wherever GET is, without a body."""

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """ASGI entry; the framework tells its kinds of message apart, this does not need to."""
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await super().__call__(scope, receive, send)
            return

        async def send_without_body(message: Any) -> None:
            is_body = message["type"] == "http.response.body"
            await send({**message, "body": b""} if is_body else message)

        as_get: Any = {**scope, "method": "GET"}
        await super().__call__(as_get, receive, send_without_body)


OpenWorkflows = Callable[[Settings], Awaitable[Workflows]]


def build_app(
    settings: Settings,
    *,
    demo_sign_in: bool = False,
    open_workflows: OpenWorkflows | None = None,
) -> Service:
    """
    The whole application. Nothing is opened before it starts.

    Parameters
    ----------
    settings : Settings
    demo_sign_in : bool, optional, keyword only
        Whether one-time links sign a browser on this computer in.
    open_workflows : callable, optional, keyword only
        Opens the store and what works on it; replaced in tests of the frame.

    Returns
    -------
    Service
        ``app.state`` has `settings`, `tokens`, `sessions`, `readiness` and, once
        started, `workflows`.
    """
    opener = open_workflows or _open_workflows
    state = State(
        {
            "settings": settings,
            "tokens": TokenStore(settings.data_directory),
            "sessions": Sessions(),
            "readiness": Readiness(),
            "demo_sign_in": demo_sign_in,
        }
    )
    app = Service(
        route_handlers=[Router("/v1", route_handlers=ROUTERS), *PAGES, *OWN],
        state=state,
        lifespan=[_running(opener)],
        dependencies={
            "workflows": Provide(_give_workflows),
            "actor": Provide(_give_actor),
            "settings": Provide(_give_settings),
        },
        before_request=check_request,
        before_send=[_add_headers],
        exception_handlers=EXCEPTION_HANDLERS,
        request_max_body_size=MAX_JSON_BODY_BYTES,
        logging_config=None,
        openapi_config=None,
    )
    _check_every_route_is_guarded(app)
    return app


def issue_sign_in_code(app: Litestar, actor: Actor) -> str:
    """
    Code for a one-time link, ``/sign-in?code=...``, that signs a browser in as `actor`.

    It counts once, for 15 minutes, and only if the app was built with
    ``demo_sign_in=True``.
    """
    sessions: Sessions = app.state.sessions
    return sessions.issue_code(actor)


async def _open_workflows(settings: Settings) -> Workflows:
    """The real thing; loaded here so that the frame can be tested without it."""
    from service.workflows.application import Application

    workflows: Workflows = await Application.open(settings)
    return workflows


def _running(opener: OpenWorkflows) -> Callable[[Litestar], Any]:
    @contextlib.asynccontextmanager
    async def run_workflows(app: Litestar) -> AsyncIterator[None]:
        readiness: Readiness = app.state.readiness
        try:
            workflows = await opener(app.state.settings)
        except ServiceError as refusal:
            readiness.refusal = refusal.detail
            raise
        app.state.workflows = readiness.workflows = workflows
        # Not awaited here: the server must answer /healthz while libraries load.
        warming = asyncio.create_task(_warm(readiness))
        try:
            yield
        finally:
            await asyncio.wait([warming])
            await workflows.close()

    return run_workflows


async def _warm(readiness: Readiness) -> None:
    await to_thread.run_sync(warm_up)
    readiness.warm = True


async def _give_workflows(state: State) -> Any:
    return state.workflows


async def _give_actor(request: Request[Any, Any, Any]) -> Actor:
    return cast("Actor", request.scope["user"])


async def _give_settings(state: State) -> Settings:
    return cast("Settings", state.settings)


async def _add_headers(message: Message, scope: Scope) -> None:
    """Headers that every answer carries, and those of pages."""
    if message["type"] != "http.response.start":
        return
    headers = MutableScopeHeaders.from_message(message)
    headers["x-content-type-options"] = "nosniff"
    # Whoever keeps an answer must ask again with its entity tag before showing it.
    headers.setdefault("cache-control", "private, no-cache")
    allowed = headers.get("allow", "").split(", ")
    if "GET" in allowed:
        headers["allow"] = ", ".join(sorted({*allowed, "HEAD"}))
    if headers.get("content-type", "").startswith("text/html"):
        for name, value in _PAGE_HEADERS.items():
            headers.setdefault(name, value)


def _check_every_route_is_guarded(app: Litestar) -> None:
    """Refuse to start with a route that names no scope and does not say that it is open."""
    for route in app.routes:
        for handler in getattr(route, "route_handlers", []):
            if handler.http_methods != {"OPTIONS"}:
                scope_of(handler)
