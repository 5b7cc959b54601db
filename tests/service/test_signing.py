"""The signing key is made once, kept private, and read back."""

import base64
import hashlib
import stat
from pathlib import Path

import pytest

from service.errors import OperatorError
from service.signing import KEYS_FOLDER, is_signed_with, open_signing_key, public_key_of


def test_a_key_is_made_once_and_read_back(tmp_path: Path) -> None:
    first = open_signing_key(tmp_path)
    assert open_signing_key(tmp_path).public == first.public
    [kept] = (tmp_path / KEYS_FOLDER).iterdir()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600


def test_a_signature_belongs_to_its_message_and_its_key(tmp_path: Path) -> None:
    key, other = open_signing_key(tmp_path / "a"), open_signing_key(tmp_path / "b")
    signature = key.sign(b"lot CC25-0117")
    assert is_signed_with(key.public, signature, b"lot CC25-0117")
    assert not is_signed_with(key.public, signature, b"lot CC25-0118")
    assert not is_signed_with(other.public, signature, b"lot CC25-0117")
    assert not is_signed_with(key.public, b"", b"lot CC25-0117")


def test_the_signature_is_that_of_the_published_test_vector(tmp_path: Path) -> None:
    # RFC 8032, section 7.1, TEST 2; from memory, and it verifies.
    folder = tmp_path / KEYS_FOLDER
    folder.mkdir()
    secret = "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb"
    (folder / "evidence.key").write_bytes(bytes.fromhex(secret))
    key = open_signing_key(tmp_path)
    public = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"
    assert base64.b64decode(key.public.public_key).hex() == public
    assert key.sign(b"\x72").hex() == (
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
    )


def test_the_id_of_a_key_is_its_digest_cut_short() -> None:
    raw = bytes(32)
    assert public_key_of(raw).key_id == hashlib.sha256(raw).hexdigest()[:16]


def test_a_file_that_holds_no_key_is_told_with_what_to_do(tmp_path: Path) -> None:
    (tmp_path / KEYS_FOLDER).mkdir()
    (tmp_path / KEYS_FOLDER / "evidence.key").write_bytes(b"short")
    with pytest.raises(OperatorError, match="backup"):
        open_signing_key(tmp_path)
