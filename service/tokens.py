"""Bearer tokens: one small file each, holding a hash and never the secret."""

from __future__ import annotations

import hashlib
import hmac
import logging
import os
import secrets
import time
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Literal, get_args

import msgspec
from msgspec import Meta, Struct

Scope = Literal[
    "lots.read",
    "lots.write",
    "results.write",
    "specs.approve",
    "holds.sign",
    "decisions.sign",
    "admin",
]
SCOPES: tuple[Scope, ...] = get_args(Scope)
SCOPE_MEANINGS: dict[Scope, str] = {
    "lots.read": "Read everything that is stored and compute without recording.",
    "lots.write": "Register lots, samples, rigs, assignments, drafts and records.",
    "results.write": "Upload tables; meant for the quality system and the rigs.",
    "specs.approve": "Approve a draft specification.",
    "holds.sign": "Sign the disposition of a hold, or a failure record.",
    "decisions.sign": "Record a verdict.",
    "admin": "Everything.",
}
ActorKind = Literal["SYSTEM", "PERSON"]
TOKEN_PREFIX = "lotproof_"
TOKENS_FOLDER = "tokens"
_SECRET_BYTES = 32
_RELOAD_INTERVAL_S = 0.2
_SETTLED_AFTER_S = 2.0  # coarser than the time stamps of any file system in use

_log = logging.getLogger(__name__)


class Actor(Struct, frozen=True, kw_only=True):
    """Who is asking: shown beside every decision, and what they may do."""

    name: str
    kind: ActorKind
    scopes: frozenset[Scope]
    token_id: str | None = None

    def may(self, scope: Scope) -> bool:
        """Whether the actor holds a scope; `admin` implies all."""
        return scope in self.scopes or "admin" in self.scopes


class StoredToken(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Content of a token's file; the secret itself is nowhere."""

    token_id: str
    name: Annotated[str, Meta(min_length=1, max_length=100)]
    kind: ActorKind
    scopes: Annotated[list[Scope], Meta(min_length=1)]
    secret_sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
    created_at: datetime

    def actor(self) -> Actor:
        """Who a request with this token comes from."""
        return Actor(
            name=self.name, kind=self.kind, scopes=frozenset(self.scopes), token_id=self.token_id
        )


def create_token(
    data_directory: Path, *, name: str, kind: ActorKind, scopes: Iterable[Scope]
) -> tuple[StoredToken, str]:
    """
    Make a token; its text is given here and can never be had again.

    Parameters
    ----------
    data_directory : Path
        The service's data directory; it is made if it is missing.
    name : str, keyword only
        Who will use it, 1 to 100 characters; shown beside their decisions.
    kind : {"SYSTEM", "PERSON"}, keyword only
        A program or a person.
    scopes : iterable of Scope, keyword only
        What it allows; at least one.

    Returns
    -------
    tuple of StoredToken and str
        What was stored, and the text that a caller sends.

    Raises
    ------
    msgspec.ValidationError
        If the name or a scope is refused.

    Notes
    -----
    The secret has 256 random bits, so a plain SHA-256 of it cannot be searched;
    a slow password hash would only slow every request down.
    """
    text = TOKEN_PREFIX + secrets.token_urlsafe(_SECRET_BYTES)
    fields = {
        "token_id": f"tok_{secrets.token_hex(6)}",
        "name": name,
        "kind": kind,
        "scopes": sorted(set(scopes), key=SCOPES.index),
        "secret_sha256": _digest(text),
        "created_at": datetime.now(UTC).replace(microsecond=0),
    }
    token = msgspec.convert(fields, StoredToken)
    folder = data_directory / TOKENS_FOLDER
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _write_private(folder / f"{token.token_id}.json", msgspec.json.encode(token) + b"\n")
    return token, text


def list_tokens(data_directory: Path) -> list[StoredToken]:
    """Every readable token of a data directory, oldest first."""
    return sorted(
        _read_tokens(data_directory / TOKENS_FOLDER), key=lambda t: (t.created_at, t.token_id)
    )


def revoke_token(data_directory: Path, token_id: str) -> bool:
    """Remove a token; a running service refuses it from then on. False if there is none."""
    folder = data_directory / TOKENS_FOLDER
    if token_id not in {path.stem for path in folder.glob("tok_*.json")}:
        return False
    (folder / f"{token_id}.json").unlink(missing_ok=True)
    return True


class TokenStore:
    """
    The tokens of a data directory, looked up in memory.

    The folder is read again when its modification time changes, so that a token
    made or revoked while the service runs counts at once.
    """

    def __init__(self, data_directory: Path) -> None:
        self._folder = data_directory / TOKENS_FOLDER
        self._by_digest: dict[str, StoredToken] = {}
        self._read_mtime_ns: int | None = None
        self._settled = False
        self._read_at = -_RELOAD_INTERVAL_S

    def find(self, text: str) -> StoredToken | None:
        """The token with this text, or None if it is unknown or revoked."""
        self._refresh()
        digest = _digest(text)
        token = self._by_digest.get(digest)
        if token is None or not hmac.compare_digest(token.secret_sha256, digest):
            return None
        return token

    def is_current(self, token_id: str) -> bool:
        """Whether a token has not been revoked since."""
        self._refresh()
        return any(token.token_id == token_id for token in self._by_digest.values())

    def _refresh(self) -> None:
        """Read the folder again if it changed, or may have within its clock's grain."""
        try:
            mtime_ns = self._folder.stat().st_mtime_ns
        except FileNotFoundError:
            self._by_digest, self._read_mtime_ns = {}, None
            return
        unchanged = mtime_ns == self._read_mtime_ns
        if unchanged and self._settled:
            return
        if unchanged and time.monotonic() - self._read_at < _RELOAD_INTERVAL_S:
            return
        # A change right after this reading may leave the same time stamp behind:
        # until the stamp is old, the folder is read again now and then.
        self._settled = time.time_ns() - mtime_ns > _SETTLED_AFTER_S * 1e9
        self._read_mtime_ns, self._read_at = mtime_ns, time.monotonic()
        self._by_digest = {token.secret_sha256: token for token in _read_tokens(self._folder)}


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _read_tokens(folder: Path) -> list[StoredToken]:
    """All well-formed token files; a broken one is reported and allows nobody anything."""
    tokens = []
    for path in sorted(folder.glob("tok_*.json")):
        try:
            tokens.append(msgspec.json.decode(path.read_bytes(), type=StoredToken))
        except FileNotFoundError:  # revoked between listing and reading
            continue
        except (OSError, msgspec.DecodeError):
            _log.warning("token_file_unreadable file=%s", path.name)
    return tokens


def _write_private(path: Path, content: bytes) -> None:
    """Write a file that only its owner reads, whole or not at all."""
    part = path.with_suffix(".part")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)
