"""An upload is stored whole or not at all, and lives are ready when it returns."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from bodies import cycle_rows, cycle_table, lives_table, run_outs
from stores import FIRST_INSTANT, StandingClock

from schemas.lots import NewLot
from service.errors import NotFound, UploadRefused
from service.settings import Settings
from service.storage.lots import lot_key_of_number
from service.storage.store import Store
from service.tokens import Actor
from service.workflows.evaluate_lot import is_kept
from service.workflows.lots import Lots
from service.workflows.take_upload import Uploads

pytestmark = pytest.mark.anyio


async def pieces(body: bytes, size: int = 100) -> AsyncIterator[bytes]:
    for start in range(0, len(body), size):
        yield body[start : start + size]


@pytest.fixture
def uploads(store: Store, clock: StandingClock, tmp_path: Path) -> Uploads:
    settings = Settings(data_directory=tmp_path / "data", max_body_bytes=100_000, max_upload_rows=9)
    return Uploads(store, settings, clock)


async def test_a_receipt_carries_who_and_when_and_the_original_is_kept(
    uploads: Uploads, store: Store, actor: Actor
) -> None:
    body = lives_table(run_outs("CC25-0117", ["001", "002"]))
    receipt, is_new = await uploads.take(pieces(body), actor, content_digest=None)
    assert (is_new, receipt.received_at, receipt.received_from) == (
        True,
        FIRST_INSTANT,
        "Test bench",
    )
    [kept] = list(store.originals_folder.rglob("*.parquet"))
    assert kept.read_bytes() == body
    assert list(store.spool_folder.iterdir()) == []
    again, is_new_again = await uploads.take(pieces(body), actor, content_digest=None)
    assert (again, is_new_again) == (receipt, False)
    assert await uploads.find(receipt.upload_id) == receipt
    assert [each for _, each in await uploads.all(after=0, limit=9)] == [receipt]


async def test_lives_and_verdict_are_ready_when_an_upload_returns(
    uploads: Uploads, store: Store, actor: Actor
) -> None:
    body = cycle_table(cycle_rows("CC25-0117", "001", "run-1", [33.0, 33.0]))
    receipt, _ = await uploads.take(pieces(body), actor, content_digest=None)
    [tally] = receipt.lots
    assert await store.read(lambda db: is_kept(db, tally.lot_id))


async def test_a_refused_file_leaves_nothing(uploads: Uploads, store: Store, actor: Actor) -> None:
    too_many_rows = lives_table(run_outs("CC25-0117", [f"{n:03}" for n in range(10)]))
    for body, code in (
        (b"", "NOT_PARQUET"),
        (b"x" * 100_001, "BODY_TOO_LARGE"),
        (too_many_rows, "TOO_MANY_ROWS"),
    ):
        with pytest.raises(UploadRefused) as refusal:
            await uploads.take(pieces(body, 1000), actor, content_digest=None)
        assert [finding.code for finding in refusal.value.findings] == [code]
    assert await uploads.all(after=0, limit=9) == []
    assert await store.read(lambda db: lot_key_of_number(db, "CC25-0117")) is None
    assert list(store.spool_folder.iterdir()) == []


async def test_a_sender_that_hangs_up_leaves_nothing(
    uploads: Uploads, store: Store, actor: Actor
) -> None:
    async def cut_off() -> AsyncIterator[bytes]:
        yield b"PAR1"
        raise ConnectionError("hung up")

    with pytest.raises(ConnectionError):
        await uploads.take(cut_off(), actor, content_digest=None)
    assert list(store.spool_folder.iterdir()) == []


async def test_uploads_of_a_lot_and_findings_need_things_that_exist(
    uploads: Uploads, store: Store, clock: StandingClock, actor: Actor
) -> None:
    lot, _ = await Lots(store, clock).register(
        NewLot(lot_number="CC25-0117", part_number="CC25"), actor
    )
    assert await uploads.of_lot(lot.lot_id, after=0, limit=9) == []
    for asking in (
        uploads.of_lot("lot_nowhere", after=0, limit=9),
        uploads.find("up_nowhere"),
        uploads.findings("up_nowhere"),
    ):
        with pytest.raises(NotFound):
            await asking
    body = cycle_table(cycle_rows("CC25-0117", "001", "run-1", [33.0, 33.0]))
    receipt, _ = await uploads.take(pieces(body), actor, content_digest=None)
    found = await uploads.findings(receipt.upload_id)
    assert (found.row_count, found.without_spec_rows) == (2, 2)
    assert [each for _, each in await uploads.of_lot(lot.lot_id, after=0, limit=9)] == [receipt]
