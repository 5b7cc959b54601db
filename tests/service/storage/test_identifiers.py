"""Opaque names follow from natural keys, and only from them."""

import base64
import hashlib

from service.storage.identifiers import opaque_id


def test_a_name_is_the_start_of_a_digest_in_base32() -> None:
    digest = hashlib.sha256(b"CC25-0117\x00001").digest()
    text = base64.b32encode(digest).decode().lower()
    assert opaque_id("unit", "CC25-0117", "001") == f"unit_{text[:12]}"


def test_parts_do_not_run_into_each_other() -> None:
    assert opaque_id("unit", "CC25-01", "17") != opaque_id("unit", "CC25-0", "117")
