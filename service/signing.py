"""The key that evidence packs are signed with: made at the first start, kept in one file."""

from __future__ import annotations

import base64
import hashlib
import os
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
)

from schemas.evidence_packs import PublicKey
from service.errors import OperatorError

KEYS_FOLDER = "keys"
_KEY_FILE = "evidence.key"
_ID_LETTERS = 16


class SigningKey:
    """A private key and what others may know of it."""

    def __init__(self, private: Ed25519PrivateKey) -> None:
        self._private = private
        self.public = public_key_of(
            private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
        )

    def sign(self, message: bytes) -> bytes:
        """Signature of a message; the same message gives the same signature."""
        return self._private.sign(message)


def open_signing_key(data_directory: Path) -> SigningKey:
    """
    The key of a data directory, made if there is none yet.

    Raises
    ------
    OperatorError
        If the file holds no key.
    """
    folder = data_directory / KEYS_FOLDER
    path = folder / _KEY_FILE
    if not path.exists():
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        _write_new(path)
    try:
        return SigningKey(Ed25519PrivateKey.from_private_bytes(path.read_bytes()))
    except ValueError:
        raise OperatorError(
            f"{path} holds no signing key; put the right file back from a backup, or move it "
            "away to have a new one made. Packs signed before stay valid under the old one."
        ) from None


def public_key_of(raw: bytes) -> PublicKey:
    """A public key with its id."""
    return PublicKey(
        key_id=hashlib.sha256(raw).hexdigest()[:_ID_LETTERS],
        algorithm="Ed25519",
        public_key=base64.b64encode(raw).decode("ascii"),
    )


def is_signed_with(public: PublicKey, signature: bytes, message: bytes) -> bool:
    """Whether a signature of a message was made with the private half of a key."""
    try:
        raw = base64.b64decode(public.public_key, validate=True)
        Ed25519PublicKey.from_public_bytes(raw).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def _write_new(path: Path) -> None:
    """A new key on disk for good before anything is signed with it."""
    private = Ed25519PrivateKey.generate()
    raw = private.private_bytes(Encoding.Raw, PrivateFormat.Raw, NoEncryption())
    arriving = path.with_suffix(".new")
    handle = os.open(arriving, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        os.write(handle, raw)
        os.fsync(handle)
    finally:
        os.close(handle)
    os.replace(arriving, path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
