"""Attachments: whole or not at all, on disk before their record, given back as they came."""

import hashlib
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from stores import StandingClock

from service.errors import NotFound, UploadRefused
from service.settings import Settings
from service.storage.attachments import attachment_path
from service.storage.store import Store
from service.tokens import Actor
from service.workflows import attachments
from service.workflows.attachments import Attachments

pytestmark = pytest.mark.anyio
PDF = b"%PDF-1.7\nphotograph of the seal lip"
DIGEST = hashlib.sha256(PDF).hexdigest()


@pytest.fixture
def kept(store: Store, clock: StandingClock) -> Attachments:
    settings = Settings(data_directory=store.data_directory, max_body_bytes=1000)
    return Attachments(store, settings, clock)


async def chunks(content: bytes) -> AsyncIterator[bytes]:
    for start in range(0, len(content), 10):
        yield content[start : start + 10]


async def test_bytes_are_kept_under_their_digest_and_given_back(
    kept: Attachments, store: Store, actor: Actor, clock: StandingClock
) -> None:
    made, is_new = await kept.take(
        chunks(PDF), actor, media_type="application/pdf", content_digest=None
    )
    assert (is_new, made.sha256, made.byte_count) == (True, DIGEST, len(PDF))
    assert (made.stored_at, made.stored_by) == (clock.now, "Test bench")
    found = await kept.find(DIGEST)
    assert (found.attachment, found.path.read_bytes()) == (made, PDF)
    assert list(store.spool_folder.iterdir()) == []
    clock.pass_minutes(5)
    again = await kept.take(chunks(PDF), actor, media_type="application/pdf", content_digest=None)
    assert again == (made, False)


async def test_a_kill_between_bytes_and_record_leaves_bytes_that_a_repeat_takes_up(
    kept: Attachments, store: Store, actor: Actor, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = attachment_path(store.attachments_folder, DIGEST)

    def killed(*_: object, **__: object) -> None:
        assert path.read_bytes() == PDF  # on disk before anything says so
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(attachments, "add_attachment", killed)
        with pytest.raises(KeyboardInterrupt):
            await kept.take(chunks(PDF), actor, media_type="application/pdf", content_digest=None)
    with pytest.raises(NotFound):
        await kept.find(DIGEST)
    _, is_new = await kept.take(
        chunks(PDF), actor, media_type="application/pdf", content_digest=None
    )
    assert is_new
    assert (await kept.find(DIGEST)).path.read_bytes() == PDF


async def test_a_refused_body_leaves_no_trace(
    kept: Attachments, store: Store, actor: Actor
) -> None:
    for content, media_type in ((b"<html>", "image/png"), (b"x" * 1001, "text/plain")):
        with pytest.raises(UploadRefused):
            await kept.take(chunks(content), actor, media_type=media_type, content_digest=None)
    with pytest.raises(UploadRefused, match="SHA-256"):
        await kept.take(
            chunks(PDF),
            actor,
            media_type="application/pdf",
            content_digest="sha-256=:" + "A" * 43 + "=:",
        )
    assert [*store.attachments_folder.iterdir(), *store.spool_folder.iterdir()] == []


@pytest.mark.parametrize("sha256", ["ab" * 32, "../../tokens", "AB" * 32, ""])
async def test_a_digest_that_nobody_stored_is_not_found(kept: Attachments, sha256: str) -> None:
    with pytest.raises(NotFound, match="attachment"):
        await kept.find(sha256)


def test_the_folder_of_attachments_is_made_with_the_store(store: Store, tmp_path: Path) -> None:
    assert store.attachments_folder.is_dir()
