"""Entity tags: what a reader already has, and which version a writer saw (RFC 9110)."""

from __future__ import annotations

import re

from schemas.problems import ProblemError
from service.errors import InvalidRequest, PreconditionRequired

_TAG = re.compile(r'(W/)?"([\x21\x23-\x7e\x80-\xff]*)"')


def etag(key: str) -> str:
    """
    Strong entity tag of a memo key.

    Examples
    --------
    >>> etag("sha256:ab12")
    '"sha256:ab12"'
    """
    return f'"{key}"'


def is_current(if_none_match: str | None, key: str) -> bool:
    """
    Whether the caller already has the version `key`, so that 304 is the answer.

    A header that cannot be read counts as absent: the full answer is never wrong.

    Examples
    --------
    >>> is_current('W/"a", "b"', "a"), is_current("*", "a"), is_current('"b"', "a")
    (True, True, False)
    """
    if if_none_match is None:
        return False
    if if_none_match.strip() == "*":
        return True
    return any(tag == key for _, tag in _TAG.findall(if_none_match))


def key_seen(if_match: str | None) -> str:
    """
    The one version that a writer saw, out of If-Match.

    Returns
    -------
    str
        The key; the caller compares it with the current one.

    Raises
    ------
    PreconditionRequired
        If the header is missing.
    InvalidRequest
        If it is not exactly one strong entity tag. ``*`` is refused too: whoever
        signs must have seen what they sign.
    """
    if if_match is None or not if_match.strip():
        raise PreconditionRequired()
    match = _TAG.fullmatch(if_match.strip())
    if match is None or match[1]:
        detail = "If-Match must be the one ETag that you read, quotes included."
        raise InvalidRequest(
            [ProblemError(code="IF_MATCH_NOT_ONE_TAG", detail=detail, parameter="If-Match")]
        )
    return match[2]
