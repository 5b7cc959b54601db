"""Opaque names of stored things, made from what names them in the shop."""

from __future__ import annotations

import base64
import hashlib

_LETTERS = 12


def opaque_id(prefix: str, *natural_key: str) -> str:
    """
    Name that says nothing and is the same wherever the same facts are stored.

    Parameters
    ----------
    prefix : str
        What it names: ``"lot"``, ``"unit"``, ``"up"``.
    natural_key : str
        Parts of the natural key, in order; none holds a zero character.

    Returns
    -------
    str
        Prefix, underscore and 12 letters or digits: 60 bits of a SHA-256.

    Examples
    --------
    >>> opaque_id("lot", "CC25-0117")
    'lot_bnf36gzaz44u'
    """
    digest = hashlib.sha256("\0".join(natural_key).encode()).digest()
    return f"{prefix}_{base64.b32encode(digest).decode().lower()[:_LETTERS]}"


def upload_id_of(sha256: str) -> str:
    """Id of the upload of a file, from the SHA-256 of its bytes in hexadecimal."""
    return opaque_id("up", sha256)
