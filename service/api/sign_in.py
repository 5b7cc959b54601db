"""Signing a browser in: a one-time link for the demo, a pasted token otherwise."""

from __future__ import annotations

import ipaddress
from typing import Annotated, Any
from urllib.parse import urlsplit

from litestar import Response, get, post
from litestar.connection import Request
from litestar.datastructures import Cookie
from litestar.enums import RequestEncodingType
from litestar.params import Body, FromQuery
from litestar.response import Redirect
from msgspec import Struct

from service.api.strict import REQUEST_MEDIA_TYPE
from service.api.templating import page
from service.errors import NotAuthenticated, TooManyRequests
from service.sessions import SESSION_COOKIE, SESSION_LIFE_S, Sessions
from service.tokens import Actor, TokenStore

AnyRequest = Request[Any, Any, Any]

_START_PAGE = "/lots"
_REFUSED = "This token is unknown, revoked, or does not allow reading lots."


class SignInForm(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The form of the sign-in page."""

    token: str


@get("/sign-in", opt={"open": True}, include_in_schema=False)
async def show_sign_in(request: AnyRequest, code: FromQuery[str | None] = None) -> Response[Any]:
    """The sign-in form; with a one-time code of the demo, sign in at once."""
    if code is None:
        return page("sign_in.html", message="")
    _refuse_after_too_many(request)
    # A link leaves traces in histories and logs, so it counts once and only from
    # the computer that the demo itself runs on.
    allowed = request.app.state.demo_sign_in and _is_loopback(request)
    sessions: Sessions = request.app.state.sessions
    actor = sessions.redeem_code(code) if allowed else None
    if actor is None:
        sessions.note_failure(_client(request))
        raise NotAuthenticated("This link is unknown, used or too old; start the demo again.")
    return _signed_in(request, actor)


@post(
    "/sign-in",
    opt={"open": True, REQUEST_MEDIA_TYPE: RequestEncodingType.URL_ENCODED.value},
    include_in_schema=False,
)
async def sign_in(
    request: AnyRequest,
    data: Annotated[SignInForm, Body(media_type=RequestEncodingType.URL_ENCODED)],
) -> Response[Any]:
    """Sign in with a token; the session may read, whatever else the token allows."""
    _refuse_after_too_many(request)
    tokens: TokenStore = request.app.state.tokens
    token = tokens.find(data.token.strip())
    same_site = _is_same_site(request)
    if token is None or not same_site or not token.actor().may("lots.read"):
        sessions: Sessions = request.app.state.sessions
        sessions.note_failure(_client(request))
        return page("sign_in.html", status_code=401, message=_REFUSED, headers=_CHALLENGE)
    return _signed_in(request, reader(token.actor()))


@post("/sign-out", opt={"open": True}, include_in_schema=False)
async def sign_out(request: AnyRequest) -> Response[Any]:
    """End the session of this browser."""
    sessions: Sessions = request.app.state.sessions
    sessions.close(request.cookies.get(SESSION_COOKIE, ""))
    answer = Redirect("/sign-in", status_code=303)
    answer.delete_cookie(SESSION_COOKIE)
    return answer


HANDLERS = [show_sign_in, sign_in, sign_out]

_CHALLENGE = {"WWW-Authenticate": 'Bearer realm="lotproof"'}


def reader(actor: Actor) -> Actor:
    """The same person or system, allowed to read only."""
    return Actor(
        name=actor.name,
        kind=actor.kind,
        scopes=frozenset({"lots.read"}),
        token_id=actor.token_id,
    )


def _signed_in(request: AnyRequest, actor: Actor) -> Response[Any]:
    sessions: Sessions = request.app.state.sessions
    cookie = Cookie(
        key=SESSION_COOKIE,
        value=sessions.open(actor),
        max_age=SESSION_LIFE_S,
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )
    # A page and not a redirect: a strict cookie is not sent along a redirect that
    # another site's link began.
    answer = page("signed_in.html", headers={"Refresh": f"0; url={_START_PAGE}"}, start=_START_PAGE)
    answer.set_cookie(cookie)
    return answer


def _refuse_after_too_many(request: AnyRequest) -> None:
    sessions: Sessions = request.app.state.sessions
    if (seconds := sessions.seconds_to_wait(_client(request))) > 0:
        raise TooManyRequests(seconds)


def _client(request: AnyRequest) -> str:
    return request.client.host if request.client is not None else ""


def _is_loopback(request: AnyRequest) -> bool:
    try:
        return ipaddress.ip_address(_client(request)).is_loopback
    except ValueError:
        return False


def _is_same_site(request: AnyRequest) -> bool:
    """Whether the form came from our own page, so that nobody is signed in unasked."""
    origin = request.headers.get("origin")
    return origin is None or urlsplit(origin).netloc == request.headers.get("host")
