"""The draws of a lot, put together for whoever counts its sample."""

from __future__ import annotations

from lots_by_hand import list_sample, lot_id_of, register

from schemas.lots import NewUnit
from service.storage.lot_facts import read_lot_facts
from service.storage.store import Store
from service.workflows.sample_record import sample_record


def test_a_list_without_a_draw_is_a_list(store: Store) -> None:
    register(store)
    lot_id = lot_id_of(store)
    before = sample_record(store.read_now(lambda db: read_lot_facts(db, lot_id)))
    assert (before.is_listed, before.draw_keys) == (False, [])
    list_sample(store, NewUnit(unit_serial="001"))
    after = sample_record(store.read_now(lambda db: read_lot_facts(db, lot_id)))
    assert (after.is_listed, after.draw_keys, after.drawn) == (True, [], [])
