"""Reading kept answers: one that this version cannot read counts as missing."""

from __future__ import annotations

from typing import TypeVar

import msgspec

Answer = TypeVar("Answer")


def read_kept(body: str | None, kind: type[Answer]) -> Answer | None:
    """
    A kept answer.

    Parameters
    ----------
    body : str or None
        JSON as it was kept; None where nothing was.
    kind : type
        What it is to be.

    Returns
    -------
    object of `kind` or None
        None where nothing was kept, or where another version of the service kept
        it in another form: it is computed again then.

    Examples
    --------
    >>> read_kept("[1, 2]", list[int]), read_kept('["1"]', list[int]), read_kept(None, int)
    ([1, 2], None, None)
    """
    if body is None:
        return None
    try:
        return msgspec.json.decode(body, type=kind)
    except msgspec.MsgspecError:
        return None
