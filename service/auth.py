"""Who may do what: the guard that every route but the open ones carries."""

from __future__ import annotations

from typing import Any

from litestar.connection import ASGIConnection
from litestar.handlers import BaseRouteHandler

from service.errors import NotAllowed, NotAuthenticated
from service.sessions import SESSION_COOKIE, Sessions
from service.tokens import SCOPES, Actor, Scope, TokenStore

Connection = ASGIConnection[Any, Any, Any, Any]

OPEN = "open"
"""Key in a handler's `opt`: True says that anybody may call it."""


class Guard:
    """Guard that lets a request pass if its actor holds `scope`; made by `requires`."""

    def __init__(self, scope: Scope) -> None:
        self.scope: Scope = scope

    async def __call__(self, connection: Connection, _: BaseRouteHandler) -> None:
        """Find out who is asking, or refuse."""
        actor = identify(connection)
        if not actor.may(self.scope):
            raise NotAllowed(self.scope)
        connection.scope["user"] = actor


def requires(scope: Scope) -> Guard:
    """
    Guard of a route: ``guards=[requires("lots.read")]``.

    Parameters
    ----------
    scope : Scope
        What the caller's token must allow; `admin` allows everything.

    Returns
    -------
    Guard

    Raises
    ------
    ValueError
        If there is no such scope.
    """
    if scope not in SCOPES:
        raise ValueError(f"{scope!r} is no scope; the scopes are {', '.join(SCOPES)}")
    return Guard(scope)


def scope_of(handler: BaseRouteHandler) -> Scope | None:
    """
    Scope that a route asks for; None for an open one.

    Raises
    ------
    ValueError
        If the route neither names a scope nor says ``opt={"open": True}``, or does both.
    """
    guards = [guard for layer in handler.ownership_layers for guard in layer.guards or []]
    scopes = [guard.scope for guard in guards if isinstance(guard, Guard)]
    if bool(scopes) == bool(handler.opt.get(OPEN)) or len(scopes) > 1:
        raise ValueError(f"{handler}: a route names exactly one scope or says that it is open")
    return scopes[0] if scopes else None


def identify(connection: Connection) -> Actor:
    """
    Who a request comes from: its bearer token, else, for reading, its cookie.

    Raises
    ------
    NotAuthenticated
        If there is neither, or what there is counts no more.
    """
    header = connection.headers.get("authorization")
    if header is not None:
        return _bearer(connection, header)
    cookie = connection.cookies.get(SESSION_COOKIE)
    # A cookie travels with any link a browser follows: it may read, never write.
    if cookie is not None and connection.scope.get("method") in {"GET", "HEAD"}:
        return _session(connection, cookie)
    raise NotAuthenticated()


def _bearer(connection: Connection, header: str) -> Actor:
    """Actor of an Authorization header."""
    scheme, _, text = header.partition(" ")
    if scheme.lower() != "bearer":
        raise NotAuthenticated()
    tokens: TokenStore = connection.app.state.tokens
    token = tokens.find(text.strip())
    if token is None:
        raise NotAuthenticated("The bearer token is unknown or revoked.")
    return token.actor()


def _session(connection: Connection, cookie: str) -> Actor:
    """Actor of a browser session; it ends when the token that opened it is revoked."""
    sessions: Sessions = connection.app.state.sessions
    tokens: TokenStore = connection.app.state.tokens
    actor = sessions.find(cookie)
    if actor is None or (actor.token_id is not None and not tokens.is_current(actor.token_id)):
        raise NotAuthenticated("The sign-in has ended; sign in again.")
    return actor
