"""Protocol files: written with a signature, and checked offline."""

from __future__ import annotations

import base64
from pathlib import Path

import msgspec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from msgspec import Raw

from schemas.validations import SignedProtocol, ValidationProtocol
from service.errors import OperatorError
from service.signing import SigningKey, is_signed_with, public_key_of


def fresh_key() -> SigningKey:
    """A key for one protocol: it shows that nothing was changed since, not who signed."""
    return SigningKey(Ed25519PrivateKey.generate())


def write_protocol(path: Path, protocol: ValidationProtocol, key: SigningKey) -> None:
    """
    Sign a protocol and write it as a new file.

    Raises
    ------
    OperatorError
        If there is a file of that name already, or none can be written there.
    """
    said = msgspec.json.format(msgspec.json.encode(protocol), indent=1)
    signed = SignedProtocol(
        protocol=Raw(said),
        key=key.public,
        signature=base64.b64encode(key.sign(said)).decode("ascii"),
    )
    try:
        with path.open("xb") as file:
            file.write(msgspec.json.encode(signed) + b"\n")
    except OSError as refusal:
        raise OperatorError(f"{path} cannot be written: {refusal.strerror}.") from None


def read_protocol(path: Path, known_key: str | None) -> ValidationProtocol:
    """
    The protocol in a file, once its signature was found good.

    Parameters
    ----------
    path : Path
    known_key : str or None
        Public key that the reader trusts, in base64. Without it the key in the file is
        used, which shows that nothing was changed since, not who signed.

    Raises
    ------
    OperatorError
        If the file is no protocol, was changed, or was signed with another key.
    """
    try:
        signed = msgspec.json.decode(path.read_bytes(), type=SignedProtocol)
        signature = base64.b64decode(signed.signature, validate=True)
        raw_key = base64.b64decode(signed.key.public_key, validate=True)
    except OSError as refusal:
        raise OperatorError(f"{path} cannot be read: {refusal.strerror}.") from None
    except (msgspec.DecodeError, ValueError):
        raise OperatorError(f"{path} is no validation protocol.") from None
    if known_key is not None and signed.key.public_key != known_key.strip():
        raise OperatorError(f"{path} is signed with another key than the one that was given.")
    if signed.key != public_key_of(raw_key) or not is_signed_with(
        signed.key, signature, bytes(signed.protocol)
    ):
        raise OperatorError(f"The signature of {path} does not belong to what the file says.")
    try:
        protocol = msgspec.json.decode(bytes(signed.protocol), type=ValidationProtocol)
    except msgspec.DecodeError as error:
        raise OperatorError(f"{path} cannot be read: {error}.") from None
    if protocol.signed_with != signed.key.key_id:
        raise OperatorError(f"{path} names another key than the one it is signed with.")
    return protocol
