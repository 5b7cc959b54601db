"""Lots keep their id, their registration is a fact, the last assignment is current."""

import pytest
from msgspec import UNSET
from stores import FIRST_INSTANT, stamp

from schemas.lots import Lot, NewAssignment, NewLot
from service.errors import NotFound
from service.storage.lots import (
    LotFilter,
    add_assignment,
    add_lot,
    find_assignment,
    find_lot,
    find_registration,
    list_assignments,
    list_lots,
    lot_ids,
    lot_key_of,
    lot_key_of_number,
    register_lot,
)
from service.storage.store import Cursor, Store

LOT = NewLot(lot_number="CC25-0117", part_number="CC25", lot_size=400)
ASSIGNMENT = NewAssignment(spec_id="CC25-Q1", version=1, reason="first test")


def test_a_lot_that_was_only_seen_keeps_its_id_when_it_is_registered(store: Store) -> None:
    def change(db: Cursor) -> tuple[Lot, Lot]:
        lot_key = add_lot(db, LOT.lot_number, FIRST_INSTANT)
        seen = find_lot(db, lot_key)
        assert find_registration(db, lot_key) is None
        register_lot(db, lot_key, LOT, stamp())
        assert find_registration(db, lot_key) == LOT
        return seen, find_lot(db, lot_key)

    seen, registered = store.write_now(change)
    assert (seen.state, seen.part_number) == ("UNREGISTERED", UNSET)
    assert (registered.state, registered.part_number) == ("REGISTERED", "CC25")
    assert registered.lot_size == 400
    assert registered.lot_id == seen.lot_id


def test_a_lot_is_found_by_its_id_and_by_the_shops_number(store: Store) -> None:
    lot_key = store.write_now(lambda db: add_lot(db, "lot / with signs", FIRST_INSTANT))
    lot = store.read_now(lambda db: find_lot(db, lot_key))
    assert store.read_now(lambda db: lot_key_of(db, lot.lot_id)) == lot_key
    assert store.read_now(lambda db: lot_key_of_number(db, "lot / with signs")) == lot_key
    assert store.read_now(lambda db: lot_key_of_number(db, "other")) is None
    assert store.read_now(lambda db: lot_ids(db, [lot_key, 99])) == [lot.lot_id]
    with pytest.raises(NotFound, match="lot_nowhere"):
        store.read_now(lambda db: lot_key_of(db, "lot_nowhere"))


def test_lots_are_listed_in_the_order_in_which_they_were_named(store: Store) -> None:
    def change(db: Cursor) -> None:
        for number in range(5):
            lot_key = add_lot(db, f"L{number}", FIRST_INSTANT)
            if number % 2 == 0:
                body = NewLot(lot_number=f"L{number}", part_number="CC25" if number else "CC26")
                register_lot(db, lot_key, body, stamp())

    store.write_now(change)

    def numbers(chosen: LotFilter, after: int = 0, limit: int = 9) -> list[str]:
        found = store.read_now(lambda db: list_lots(db, chosen, after=after, limit=limit))
        return [lot.lot_number for _, lot in found]

    assert numbers(LotFilter()) == ["L0", "L1", "L2", "L3", "L4"]
    assert numbers(LotFilter(), limit=2) == ["L0", "L1"]
    first_two = store.read_now(lambda db: list_lots(db, LotFilter(), after=0, limit=2))
    assert numbers(LotFilter(), after=first_two[-1][0]) == ["L2", "L3", "L4"]
    assert numbers(LotFilter(lot_number="L3")) == ["L3"]
    assert numbers(LotFilter(part_number="CC25")) == ["L2", "L4"]
    assert numbers(LotFilter(state="UNREGISTERED")) == ["L1", "L3"]
    assert numbers(LotFilter(state="REGISTERED", part_number="CC26")) == ["L0"]


def test_the_last_assignment_is_the_lots_current_one(store: Store) -> None:
    def change(db: Cursor) -> int:
        lot_key = add_lot(db, "L1", FIRST_INSTANT)
        other_key = add_lot(db, "L2", FIRST_INSTANT)
        assert find_assignment(db, lot_key) is None
        add_assignment(db, lot_key, ASSIGNMENT, "sha256:1", stamp(1))
        second = NewAssignment(spec_id="CC25-Q2", version=3, reason="more units")
        add_assignment(db, lot_key, second, "sha256:2", stamp(2))
        add_assignment(db, other_key, ASSIGNMENT, "sha256:1", stamp(3))
        return lot_key

    lot_key = store.write_now(change)
    current = store.read_now(lambda db: find_assignment(db, lot_key))
    assert current is not None
    assert (current.spec_id, current.version, current.hash) == ("CC25-Q2", 3, "sha256:2")
    assert (current.assigned_at, current.assigned_by) == (stamp(2).at, "Test bench")
    assert store.read_now(lambda db: find_lot(db, lot_key)).assignment == current
    listed = store.read_now(lambda db: list_assignments(db, lot_key, after=0, limit=9))
    assert [each.spec_id for _, each in listed] == ["CC25-Q1", "CC25-Q2"]
    rest = store.read_now(lambda db: list_assignments(db, lot_key, after=listed[0][0], limit=9))
    assert rest == listed[1:]
