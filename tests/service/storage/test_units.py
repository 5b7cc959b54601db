"""Units are known once however many things name them; a sample is a list of them."""

import pytest
from stores import FIRST_INSTANT, stamp

from schemas.lots import NewUnit
from service.errors import NotFound
from service.storage.lots import add_lot
from service.storage.store import Cursor, Store
from service.storage.units import (
    add_to_sample,
    ensure_units,
    find_named_units,
    find_unit,
    list_units,
)


@pytest.fixture
def lot_key(store: Store) -> int:
    return store.write_now(lambda db: add_lot(db, "CC25-0117", FIRST_INSTANT))


def test_a_unit_has_one_key_however_often_it_is_named(store: Store, lot_key: int) -> None:
    def change(db: Cursor) -> tuple[dict[str, int], dict[str, int], dict[str, int]]:
        first = ensure_units(db, lot_key, ["001", "002"])
        second = ensure_units(db, lot_key, ["002", "003"])
        other_lot = add_lot(db, "CC25-0118", FIRST_INSTANT)
        return first, second, ensure_units(db, other_lot, ["001"])

    first, second, elsewhere = store.write_now(change)
    assert first["002"] == second["002"]
    assert len({*first.values(), *second.values(), *elsewhere.values()}) == 4
    assert store.write_now(lambda db: ensure_units(db, lot_key, ["001", "002"])) == first


def test_a_listed_unit_says_so_and_carries_its_batch(store: Store, lot_key: int) -> None:
    def change(db: Cursor) -> None:
        ensure_units(db, lot_key, ["seen", "001"])
        sample = [
            NewUnit(unit_serial="001", component_batch="SB-17"),
            NewUnit(unit_serial="002"),
        ]
        add_to_sample(db, lot_key, sample, stamp())
        add_to_sample(db, lot_key, [], stamp())

    store.write_now(change)
    found = store.read_now(lambda db: find_named_units(db, lot_key, ["001", "seen", "none"]))
    assert set(found) == {"001", "seen"}
    assert (found["001"].unit.listed, found["001"].unit.component_batch) == (True, "SB-17")
    assert found["seen"].unit.listed is False
    listed = store.read_now(lambda db: list_units(db, lot_key, after=0, limit=9))
    assert [each.unit.unit_serial for each in listed] == ["seen", "001", "002"]
    after = listed[0].unit_key
    rest = store.read_now(lambda db: list_units(db, lot_key, after=after, limit=1))
    assert [each.unit.unit_serial for each in rest] == ["001"]
    by_id = store.read_now(lambda db: find_unit(db, listed[1].unit.unit_id))
    assert by_id == listed[1]


def test_an_unknown_unit_is_not_found(store: Store) -> None:
    with pytest.raises(NotFound, match="unit_nowhere"):
        store.read_now(lambda db: find_unit(db, "unit_nowhere"))


def test_a_sample_of_ten_thousand_units_is_stored_at_once(store: Store, lot_key: int) -> None:
    sample = [NewUnit(unit_serial=f"{number:05}") for number in range(10_000)]
    store.write_now(lambda db: add_to_sample(db, lot_key, sample, stamp()))
    listed = store.read_now(lambda db: list_units(db, lot_key, after=0, limit=20_000))
    assert [each.unit.unit_serial for each in listed] == [unit.unit_serial for unit in sample]
