"""Draws and substitutions are written once and read back together."""

from __future__ import annotations

from lots_by_hand import LOT, list_sample, lot_key_of, register
from stores import FIRST_INSTANT, stamp

from schemas.lots import NewUnit
from schemas.sample_draws import (
    DrawnStratum,
    NewDraw,
    NewStratum,
    NewSubstitution,
    SampleDraw,
)
from service.storage import sample_draws
from service.storage.store import Store


def request(key: str) -> NewDraw:
    stratum = NewStratum(unit_count=1, spare_count=1, serials=["001", "002"])
    return NewDraw(
        draw_key=key, strata=[stratum], substitution="NEXT_SPARE_OF_STRATUM", reason="why"
    )


def draw(key: str) -> SampleDraw:
    return SampleDraw(
        draw_key=key,
        lot_id="lot_x",
        lot_number=LOT,
        algorithm="SHA256_ORDER",
        seed="1",
        seed_source="GIVEN",
        population_count=2,
        population_sha256="0" * 64,
        substitution="NEXT_SPARE_OF_STRATUM",
        strata=[DrawnStratum(population_count=2, drawn=["001"], spares=["002"])],
        reason="why",
        after_first_row=False,
        recorded_at=FIRST_INSTANT,
        recorded_by="Test bench",
        substitutions=[],
    )


def test_draws_come_back_in_order_with_their_own_substitutions(store: Store) -> None:
    register(store)
    key = lot_key_of(store)
    assert store.read_now(lambda db: sample_draws.draws_of_lot(db, key)) == []
    assert store.read_now(lambda db: sample_draws.find_request(db, key, "d1")) is None
    for name in ("d1", "d2"):
        store.write_now(
            lambda db, n=name: sample_draws.add_draw(db, key, request(n), draw(n), stamp())
        )
    found = store.read_now(lambda db: sample_draws.find_request(db, key, "d1"))
    assert found == (request("d1"), "Test bench")
    body = NewSubstitution(void_serial="001", reason="over-pressure")
    store.write_now(lambda db: sample_draws.add_substitution(db, (key, "d2"), body, "002", stamp()))
    first, second = store.read_now(lambda db: sample_draws.draws_of_lot(db, key))
    assert first == draw("d1")
    [substitution] = second.substitutions
    assert (substitution.void_serial, substitution.spare_serial) == ("001", "002")
    assert (substitution.reason, substitution.recorded_by) == ("over-pressure", "Test bench")
    [(place, _)] = store.read_now(lambda db: sample_draws.list_draws(db, key, after=0, limit=1))
    [(_, rest)] = store.read_now(lambda db: sample_draws.list_draws(db, key, after=place, limit=9))
    assert rest == second


def test_the_list_of_the_lot_is_counted(store: Store) -> None:
    register(store)
    key = lot_key_of(store)
    list_sample(store, NewUnit(unit_serial="001"), NewUnit(unit_serial="003"))
    assert store.read_now(lambda db: sample_draws.listed_count(db, key)) == 2
    listed = store.read_now(lambda db: sample_draws.listed_among(db, key, ["003", "002", "001"]))
    assert listed == ["001", "003"]
