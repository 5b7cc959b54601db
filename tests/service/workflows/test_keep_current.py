"""Lives and verdicts are made ready after new facts; a failure there loses no fact."""

import logging

import pytest
from stores import FIRST_INSTANT

from service.storage.lots import add_lot, lot_ids
from service.storage.store import Store
from service.workflows import keep_current as module
from service.workflows.evaluate_lot import is_kept
from service.workflows.keep_current import keep_current

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
