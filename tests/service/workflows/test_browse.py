"""Looking at units and verdicts records nothing."""

from typing import Any

import pytest
from stores import FIRST_INSTANT, StandingClock

from schemas.lots import NewLot, NewUnit, NewUnits
from service.errors import NotFound
from service.storage.lots import add_lot, lot_ids
from service.storage.store import Store
from service.tokens import Actor
from service.workflows.browse import Evaluations, Units
from service.workflows.evaluate_lot import is_kept
from service.workflows.lots import Lots

pytestmark = pytest.mark.anyio
MEMO_TABLES = {"stretch_summaries", "lot_lives", "lot_evaluations"}


async def test_a_unit_that_has_not_started_has_a_life_of_no_cycles(
    store: Store, clock: StandingClock, actor: Actor
) -> None:
    lots = Lots(store, clock)
    lot, _ = await lots.register(NewLot(lot_number="CC25-0117", part_number="CC25"), actor)
    sample = NewUnits(units=[NewUnit(unit_serial="001")])
    [unit], _ = await lots.add_to_sample(lot.lot_id, sample, actor)
    units = Units(store)
    assert await units.find(unit.unit_id) == unit
    life = await units.life(unit.unit_id)
    assert (life.ending, life.totals.counted_cycles, life.stretches) == ("RUNNING", 0, [])


async def test_what_is_not_there_is_not_found(store: Store) -> None:
    for asking in (
        Units(store).find("unit_nowhere"),
        Units(store).life("unit_nowhere"),
        Evaluations(store).read("lot_nowhere", None),
    ):
        with pytest.raises(NotFound):
            await asking


async def test_a_look_records_no_fact_and_keeps_its_answer_for_the_next(store: Store) -> None:
    lot_key = await store.write(lambda db: add_lot(db, "CC25-0117", FIRST_INSTANT))
    [lot_id] = await store.read(lambda db: lot_ids(db, [lot_key]))

    def counts(db: Any) -> dict[str, int]:
        names = [row[0] for row in db.execute("SELECT table_name FROM duckdb_tables()").fetchall()]
        facts = set(names) - MEMO_TABLES
        return {n: db.execute(f'SELECT count(*) FROM "{n}"').fetchone()[0] for n in facts}

    before = await store.read(counts)
    first = await Evaluations(store).read(lot_id, None)
    assert first.verdict == "HOLD"
    assert await store.read(lambda db: is_kept(db, lot_id))
    assert await Evaluations(store).read(lot_id, None) == first
    assert await store.read(counts) == before
