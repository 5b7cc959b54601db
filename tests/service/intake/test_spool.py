"""Bodies become files: hashed, limited, compared, and gone afterwards."""

import asyncio
import base64
import hashlib
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from service.errors import UploadRefused
from service.intake.spool import SpooledFile, expected_sha256, spooled, sweep_spool

BODY = b"one cycle after another " * 100_000


async def pieces(body: bytes, size: int = 70_001) -> AsyncIterator[bytes]:
    for start in range(0, len(body), size):
        yield body[start : start + size]


def digest_header(body: bytes) -> str:
    return f"sha-256=:{base64.b64encode(hashlib.sha256(body).digest()).decode()}:"


def receive(
    folder: Path, body: bytes, *, max_bytes: int = 10**9, content_digest: str | None = None
) -> tuple[SpooledFile, bytes]:
    async def main() -> tuple[SpooledFile, bytes]:
        async with spooled(
            pieces(body), folder, max_bytes=max_bytes, content_digest=content_digest
        ) as file:
            return file, file.path.read_bytes()

    return asyncio.run(main())


def code_of(refused: pytest.ExceptionInfo[UploadRefused]) -> str:
    return refused.value.findings[0].code


@pytest.mark.parametrize("body", [b"", b"x", BODY], ids=["empty", "one byte", "long"])
def test_a_body_arrives_byte_by_byte_with_its_digest(tmp_path: Path, body: bytes) -> None:
    file, content = receive(tmp_path, body, content_digest=digest_header(body))
    assert content == body
    assert file.sha256 == hashlib.sha256(body).hexdigest()
    assert file.byte_count == len(body)


def test_the_spool_is_empty_afterwards(tmp_path: Path) -> None:
    receive(tmp_path, BODY)
    assert list(tmp_path.iterdir()) == []


def test_the_spool_is_empty_after_a_failure_in_the_block(tmp_path: Path) -> None:
    async def main() -> None:
        async with spooled(pieces(BODY), tmp_path, max_bytes=10**9, content_digest=None):
            raise KeyError("later")

    with pytest.raises(KeyError):
        asyncio.run(main())
    assert list(tmp_path.iterdir()) == []


def test_a_sender_that_hangs_up_leaves_nothing(tmp_path: Path) -> None:
    async def broken() -> AsyncIterator[bytes]:
        yield BODY
        raise ConnectionResetError

    async def main() -> None:
        async with spooled(broken(), tmp_path, max_bytes=10**9, content_digest=None):
            pytest.fail("the body never arrived whole")

    with pytest.raises(ConnectionResetError):
        asyncio.run(main())
    assert list(tmp_path.iterdir()) == []


def test_a_body_over_the_limit_is_refused_as_soon_as_it_is(tmp_path: Path) -> None:
    taken = 0

    async def endless() -> AsyncIterator[bytes]:
        nonlocal taken
        while True:
            taken += 1_000
            yield bytes(1_000)

    async def main() -> None:
        async with spooled(endless(), tmp_path, max_bytes=5_500, content_digest=None):
            pytest.fail("the body never ends")

    with pytest.raises(UploadRefused) as refused:
        asyncio.run(main())
    assert (code_of(refused), refused.value.kind, taken) == ("BODY_TOO_LARGE", "too-large", 6_000)
    assert list(tmp_path.iterdir()) == []


def test_a_body_of_exactly_the_limit_is_taken(tmp_path: Path) -> None:
    assert receive(tmp_path, BODY, max_bytes=len(BODY))[0].byte_count == len(BODY)


def test_a_body_that_changed_on_the_way_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UploadRefused) as refused:
        receive(tmp_path, BODY, content_digest=digest_header(BODY + b"x"))
    assert (code_of(refused), refused.value.kind) == ("DIGEST_MISMATCH", "upload-refused")
    assert refused.value.findings[0].parameter == "Content-Digest"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "header",
    [
        "",
        "sha-256",
        "sha-256=abc",
        "sha-256=:not base64!:",
        "sha-256=:YWJj:",
        "sha-256=:" + "A" * 44 + ":",
        "sha-512=:YWJj:",
        "sha-256=:" + "A" * 43 + "=:; q=1",
    ],
)
def test_a_digest_that_cannot_be_compared_is_refused(header: str) -> None:
    with pytest.raises(UploadRefused) as refused:
        expected_sha256(header)
    assert code_of(refused) == "DIGEST_MISMATCH"


def test_other_digests_beside_it_are_passed_over() -> None:
    header = f"sha-512=:YWJj:, {digest_header(BODY)}"
    assert expected_sha256(header) == hashlib.sha256(BODY).digest()


def test_the_example_of_the_standard_is_read() -> None:
    # RFC 9530, appendix A: the SHA-256 of {"hello": "world"} and a line feed (from memory).
    header = "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"
    assert expected_sha256(header) == hashlib.sha256(b'{"hello": "world"}\n').digest()


def test_what_a_killed_process_left_is_swept(tmp_path: Path) -> None:
    for name in ("a.parquet", "b.empty.parquet"):
        (tmp_path / name).write_bytes(b"left")
    assert sweep_spool(tmp_path) == 2
    assert list(tmp_path.iterdir()) == []
