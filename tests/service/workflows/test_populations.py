"""Which group a unit belongs to, and lots that cannot be read."""

from __future__ import annotations

from typing import Any

import msgspec
import page_examples as examples
import pytest

from analysis.errors import InconsistentRecordError
from schemas.lots import NewLot
from service.errors import InvalidRequest, NotFound
from service.storage.store import Store
from service.tokens import Actor
from service.workflows import populations as module
from service.workflows.clock import Clock
from service.workflows.computing import Workers
from service.workflows.lot_lives import read_lot_lives
from service.workflows.lots import Lots
from service.workflows.populations import MOST_OTHER_LOTS, Populations

pytestmark = pytest.mark.anyio


@pytest.fixture
def populations(store: Store) -> Populations:
    return Populations(store, Workers())


async def registered(store: Store, clock: Clock, actor: Actor, lot_number: str) -> str:
    body = NewLot(lot_number=lot_number, part_number="CC25")
    lot, _ = await Lots(store, clock).register(body, actor)
    return lot.lot_id


@pytest.mark.parametrize(
    ("by", "others", "code"),
    [
        (None, [], "EXACTLY_ONE"),
        ("RIG", ["lot_b"], "EXACTLY_ONE"),
        (None, ["lot_a"], "REPEATED_LOT"),
        (None, ["lot_b", "lot_b"], "REPEATED_LOT"),
        (None, [f"lot_{number}" for number in range(MOST_OTHER_LOTS + 1)], "TOO_MANY_LOTS"),
    ],
)
async def test_a_comparison_of_nothing_clear_is_refused(
    populations: Populations, by: Any, others: list[str], code: str
) -> None:
    with pytest.raises(InvalidRequest) as refusal:
        await populations.homogeneity("lot_a", by, others)
    assert [error.code for error in refusal.value.errors] == [code]


async def test_a_lot_that_does_not_exist_is_not_compared(populations: Populations) -> None:
    with pytest.raises(NotFound):
        await populations.homogeneity("lot_a", "RIG", [])
    with pytest.raises(NotFound):
        await populations.shape_evidence("CC25", confidence=0.9, leave_out_lots=["lot_a"])


def units_on(store: Store, lot_id: str, *lives: Any) -> Any:
    """What was read of a lot, with other units in it."""
    read = store.read_now(lambda db: read_lot_lives(db, lot_id))
    return msgspec.structs.replace(read, lives=list(lives))


async def test_a_unit_belongs_to_where_it_was_last_and_a_move_is_counted(
    store: Store, clock: Clock, actor: Actor
) -> None:
    lot_id = await registered(store, clock, actor, "CC25-0117")
    stayed = examples.unit_life()
    first, *rest = stayed.stretches
    elsewhere = msgspec.structs.replace(first, rig_id="RIG-B", station_no=5)
    moved = msgspec.structs.replace(stayed, unit_id="unit_2", stretches=[elsewhere, *rest])
    lost = msgspec.structs.replace(
        stayed, unit_id="unit_3", last_rig_id=msgspec.UNSET, component_batch=msgspec.UNSET
    )
    read = units_on(store, lot_id, stayed, moved, lost)

    by_station = module._homogeneity([read], "STATION")
    assert [(group.name, group.unit_count) for group in by_station.groups] == [
        ("RIG-A station 3", 2)
    ]
    assert by_station.moved_unit_count == 1
    assert [unit.reason for unit in by_station.ungrouped_units] == ["GROUP_NOT_RECORDED"]

    by_rig = module._homogeneity([read], "RIG")
    assert [group.name for group in by_rig.groups] == ["RIG-A"]
    by_batch = module._homogeneity([read], "COMPONENT_BATCH")
    assert [group.name for group in by_batch.groups] == ["SB-11"]
    assert by_batch.moved_unit_count == 0


async def test_a_failure_at_zero_cycles_stops_the_tests_and_not_the_answer(
    store: Store, clock: Clock, actor: Actor
) -> None:
    lot_id = await registered(store, clock, actor, "CC25-0118")
    life = examples.unit_life()
    broken = msgspec.structs.replace(
        life, outcome=msgspec.structs.replace(life.outcome, cycles=0, credited_cycles=0)
    )
    found = module._homogeneity([units_on(store, lot_id, life, broken)], "RIG")
    assert getattr(found.tests, "reason", None) == "FAILURE_AT_ZERO_CYCLES"
    assert getattr(found.log_rank, "reason", None) == "FAILURE_AT_ZERO_CYCLES"


async def test_a_lot_that_cannot_be_read_is_named_and_breaks_nothing(
    store: Store,
    clock: Clock,
    actor: Actor,
    populations: Populations,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    good = await registered(store, clock, actor, "CC25-0117")
    bad = await registered(store, clock, actor, "CC25-0118")
    read = module.read_lot_lives

    def sometimes(db: Any, lot_id: str) -> Any:
        if lot_id == bad:
            raise InconsistentRecordError("unit_1", ["two lives"])
        return read(db, lot_id)

    monkeypatch.setattr(module, "read_lot_lives", sometimes)
    found = await populations.shape_evidence("CC25", confidence=0.9, leave_out_lots=[])
    assert found.lot_numbers == ["CC25-0117"]
    assert [(each.lot_id, each.reason) for each in found.lots_not_used] == [
        (bad, "INCONSISTENT_RECORD")
    ]
    left = await populations.shape_evidence("CC25", confidence=0.9, leave_out_lots=[good])
    assert (left.lot_numbers, left.left_out_on_request) == ([], ["CC25-0117"])
    assert left.answer_key != found.answer_key
