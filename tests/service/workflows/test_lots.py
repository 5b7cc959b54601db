"""Lots, samples and assignments: repeats add nothing, clashes change nothing."""

from typing import Any

import msgspec
import pytest
from bodies import attribute_spec
from stores import FIRST_INSTANT, StandingClock

from schemas.lots import NewAssignment, NewLot, NewUnit, NewUnits
from schemas.specs import Spec, SpecApproval
from service.errors import AlreadyExists, Conflict, InvalidRequest, NotFound
from service.storage.lots import LotFilter, add_lot
from service.storage.store import Store
from service.tokens import Actor
from service.workflows.lots import Lots
from service.workflows.specs import Specs

pytestmark = pytest.mark.anyio
LOT = NewLot(lot_number="CC25-0117", part_number="CC25")
ASSIGNMENT = NewAssignment(spec_id="CC25-A", version=1, reason="as ordered")


@pytest.fixture
def lots(store: Store, clock: StandingClock) -> Lots:
    return Lots(store, clock)


@pytest.fixture
def specs(store: Store, clock: StandingClock) -> Specs:
    return Specs(store, clock)


def sample(*serials: str, batch: str | None = None) -> NewUnits:
    return NewUnits(units=[NewUnit(unit_serial=s, component_batch=batch) for s in serials])


async def approved(specs: Specs, actor: Actor, version: int = 1, **changes: Any) -> None:
    body = msgspec.convert(attribute_spec(**changes), Spec)
    if version == 1:
        await specs.create(body, actor)
    else:
        await specs.add_version(body.spec_id, body, actor)
    approval = SpecApproval(meaning="approved", reason="reviewed")
    await specs.approve((body.spec_id, version), approval, actor, hash_seen=None)


async def test_registering_again_adds_nothing_and_other_content_clashes(
    lots: Lots, actor: Actor
) -> None:
    lot, is_new = await lots.register(LOT, actor)
    again, is_new_again = await lots.register(LOT, actor)
    assert (is_new, is_new_again) == (True, False)
    assert again == lot
    with pytest.raises(AlreadyExists):
        await lots.register(NewLot(lot_number="CC25-0117", part_number="CC26"), actor)
    assert await lots.find(lot.lot_id) == lot


async def test_a_lot_that_uploads_named_is_registered_under_its_id(
    lots: Lots, store: Store, actor: Actor
) -> None:
    await store.write(lambda db: add_lot(db, "CC25-0117", FIRST_INSTANT))
    [(_, seen)] = await lots.matching(LotFilter(), after=0, limit=9)
    lot, is_new = await lots.register(LOT, actor)
    assert (seen.state, lot.state, is_new) == ("UNREGISTERED", "REGISTERED", True)
    assert lot.lot_id == seen.lot_id


async def test_a_sample_grows_and_never_shrinks(lots: Lots, actor: Actor) -> None:
    lot, _ = await lots.register(LOT, actor)
    first, is_new = await lots.add_to_sample(lot.lot_id, sample("001", "002"), actor)
    again, is_new_again = await lots.add_to_sample(lot.lot_id, sample("002", "001"), actor)
    assert (is_new, is_new_again) == (True, False)
    assert [unit.unit_serial for unit in again] == ["002", "001"]
    more, is_more = await lots.add_to_sample(lot.lot_id, sample("002", "003"), actor)
    assert is_more
    assert [unit.unit_serial for unit in more] == ["002", "003"]
    found = await lots.units(lot.lot_id, after=0, limit=9)
    assert [unit.unit_serial for _, unit in found] == ["001", "002", "003"]
    assert first[0] == found[0][1]


async def test_a_listed_unit_keeps_its_batch(lots: Lots, actor: Actor) -> None:
    lot, _ = await lots.register(LOT, actor)
    await lots.add_to_sample(lot.lot_id, sample("001", batch="SB-17"), actor)
    for other in ("SB-18", None):
        with pytest.raises(AlreadyExists, match="001"):
            await lots.add_to_sample(lot.lot_id, sample("001", "002", batch=other), actor)
    assert len(await lots.units(lot.lot_id, after=0, limit=9)) == 1


async def test_a_serial_stands_once_in_a_sample(lots: Lots, actor: Actor) -> None:
    lot, _ = await lots.register(LOT, actor)
    with pytest.raises(InvalidRequest) as refusal:
        await lots.add_to_sample(lot.lot_id, sample("001", "002", "001"), actor)
    pointers = [error.pointer for error in refusal.value.errors]
    assert pointers == ["/units/0/unit_serial", "/units/2/unit_serial"]


async def test_only_the_approved_version_is_assigned(
    lots: Lots, specs: Specs, actor: Actor
) -> None:
    lot, _ = await lots.register(LOT, actor)
    with pytest.raises(NotFound):
        await lots.assign(lot.lot_id, ASSIGNMENT, actor)
    await approved(specs, actor)
    await approved(specs, actor, version=2, part="second")
    with pytest.raises(Conflict, match="SUPERSEDED"):
        await lots.assign(lot.lot_id, ASSIGNMENT, actor)
    third = msgspec.convert(attribute_spec(part="third"), Spec)
    await specs.add_version("CC25-A", third, actor)
    draft = msgspec.structs.replace(ASSIGNMENT, version=3)
    with pytest.raises(Conflict, match="DRAFT"):
        await lots.assign(lot.lot_id, draft, actor)
    assert await lots.assignments(lot.lot_id, after=0, limit=9) == []


async def test_the_same_assignment_again_adds_nothing_even_when_superseded(
    lots: Lots, specs: Specs, actor: Actor
) -> None:
    lot, _ = await lots.register(LOT, actor)
    await approved(specs, actor)
    first, is_new = await lots.assign(lot.lot_id, ASSIGNMENT, actor)
    await approved(specs, actor, version=2, part="second")
    again, is_new_again = await lots.assign(lot.lot_id, ASSIGNMENT, actor)
    assert (is_new, is_new_again) == (True, False)
    assert again == first
    assert (await lots.find(lot.lot_id)).assignment == first
    second = msgspec.structs.replace(ASSIGNMENT, version=2)
    await lots.assign(lot.lot_id, second, actor)
    found = await lots.assignments(lot.lot_id, after=0, limit=9)
    assert [assignment.version for _, assignment in found] == [1, 2]


async def test_an_unknown_lot_is_not_found(lots: Lots, actor: Actor) -> None:
    for asking in (
        lots.find("lot_x"),
        lots.add_to_sample("lot_x", sample("001"), actor),
        lots.units("lot_x", after=0, limit=9),
        lots.assign("lot_x", ASSIGNMENT, actor),
        lots.assignments("lot_x", after=0, limit=9),
    ):
        with pytest.raises(NotFound, match="lot_x"):
            await asking
