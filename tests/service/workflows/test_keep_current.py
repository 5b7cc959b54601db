"""Lives and verdicts are made ready after new facts; a failure there loses no fact."""

import logging
from collections.abc import AsyncIterator, Collection
from pathlib import Path

import pytest
from bodies import lives_table, run_outs
from stores import FIRST_INSTANT, StandingClock

from service.settings import Settings
from service.storage import memos
from service.storage.lots import add_lot, lot_ids
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows import keep_current as module
from service.workflows.browse import Evaluations
from service.workflows.evaluate_lot import is_kept
from service.workflows.keep_current import keep_current
from service.workflows.take_upload import Uploads

pytestmark = pytest.mark.anyio


async def test_the_verdict_of_a_lot_is_kept(store: Store) -> None:
    lot_key = await store.write(lambda db: add_lot(db, "CC25-0117", FIRST_INSTANT))
    [lot_id] = await store.read(lambda db: lot_ids(db, [lot_key]))
    assert not await store.read(lambda db: is_kept(db, lot_id))
    await keep_current(store, [lot_key])
    assert await store.read(lambda db: is_kept(db, lot_id))
    await keep_current(store, [])


async def test_a_failure_is_logged_and_goes_no_further(
    store: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr(module, "refresh_lots", fail)
    with caplog.at_level(logging.ERROR):
        await keep_current(store, [1])
    assert "lots_not_refreshed" in caplog.text


async def test_a_failure_loses_no_fact_and_the_next_look_computes_the_answer(
    store: Store,
    clock: StandingClock,
    actor: Actor,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def keep_half_and_fail(db: Cursor, lot_keys: Collection[int]) -> None:
        memos.keep_lives(db, min(lot_keys), "half done", "not even JSON")
        raise RuntimeError("a fault of ours")

    async def body() -> AsyncIterator[bytes]:
        yield lives_table(run_outs("CC25-0117", ["001", "002"]))

    uploads = Uploads(store, Settings(data_directory=tmp_path / "data"), clock)
    with monkeypatch.context() as broken:
        broken.setattr(module, "refresh_lots", keep_half_and_fail)
        receipt, is_new = await uploads.take(body(), actor, content_digest=None)
    assert (is_new, receipt.stored_rows) == (True, 2)
    assert await uploads.find(receipt.upload_id) == receipt
    [tally] = receipt.lots
    kept = await store.read(lambda db: db.execute("SELECT * FROM lot_lives").fetchall())
    assert kept == []
    evaluation = await Evaluations(store).read(tally.lot_id, None)
    assert evaluation.evidence.ended_count == 2
    assert await store.read(lambda db: is_kept(db, tally.lot_id))
