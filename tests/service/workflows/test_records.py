"""Records are idempotent by their keys and never silently empty."""

from typing import Any

import msgspec
import pytest
from bodies import inspection, rig_event
from stores import StandingClock

from schemas.lots import NewInspection, NewLot, NewRigEvent, RigSettings
from service.errors import AlreadyExists, InvalidRequest, NotFound
from service.storage.store import Store
from service.tokens import Actor
from service.workflows.lots import Lots
from service.workflows.records import Records

pytestmark = pytest.mark.anyio
SETTINGS = RigSettings(stop_codes={"DOOR_OPEN": "RIG_STOP"})


@pytest.fixture
def records(store: Store, clock: StandingClock) -> Records:
    return Records(store, clock)


@pytest.fixture
async def lot_id(store: Store, clock: StandingClock, actor: Actor) -> str:
    body = NewLot(lot_number="CC25-0117", part_number="CC25")
    lot, _ = await Lots(store, clock).register(body, actor)
    return lot.lot_id


def event(key: str = "e1", **changes: Any) -> NewRigEvent:
    return msgspec.convert(rig_event(key, **changes), NewRigEvent)


def seen(key: str = "i1", **changes: Any) -> NewInspection:
    body = {**inspection(key, "CC25-0117", "001"), **changes}
    return msgspec.convert({n: v for n, v in body.items() if v is not None}, NewInspection)


async def test_settings_of_a_rig_follow_each_other(
    records: Records, clock: StandingClock, actor: Actor
) -> None:
    first, is_first = await records.set_rig("RIG-A", SETTINGS, actor)
    clock.pass_minutes(1)
    same, is_first_again = await records.set_rig("RIG-A", SETTINGS, actor)
    assert (is_first, is_first_again) == (True, False)
    assert same == first
    changed, is_first_now = await records.set_rig("RIG-A", RigSettings(), actor)
    assert not is_first_now
    assert changed.recorded_at == clock.now
    assert await records.rig("RIG-A") == changed
    assert await records.rigs(after="", limit=9) == [changed]
    with pytest.raises(NotFound, match="RIG-B"):
        await records.rig("RIG-B")


@pytest.mark.parametrize(
    ("settings", "pointer"),
    [
        (
            {
                "supplies": [
                    {"station_no": 1, "supply_id": "A"},
                    {"station_no": 1, "supply_id": "B"},
                ]
            },
            "/supplies",
        ),
        (
            {
                "sensors": [
                    {"sensor_id": "P1", "full_scale_mpa": 60.0},
                    {"sensor_id": "P1", "full_scale_mpa": 40.0},
                ]
            },
            "/sensors",
        ),
    ],
)
async def test_a_station_or_sensor_is_named_once(
    records: Records, actor: Actor, settings: dict[str, Any], pointer: str
) -> None:
    with pytest.raises(InvalidRequest) as refusal:
        await records.set_rig("RIG-A", msgspec.convert(settings, RigSettings), actor)
    assert [error.pointer for error in refusal.value.errors] == [pointer]


async def test_an_event_again_adds_nothing_and_other_content_clashes(
    records: Records, actor: Actor
) -> None:
    first, is_new = await records.add_rig_event(event(), actor)
    again, is_new_again = await records.add_rig_event(event(), actor)
    assert (is_new, is_new_again) == (True, False)
    assert again == first
    # The same instant in another zone is the same content.
    elsewhere = event(occurred_at="2026-11-25T08:00:00+01:00")
    assert (await records.add_rig_event(elsewhere, actor))[1] is False
    with pytest.raises(AlreadyExists):
        await records.add_rig_event(event(raw_code="OTHER"), actor)
    assert (await records.add_rig_event(event(rig_id="RIG-B"), actor))[1] is True
    assert len(await records.rig_events(None, after=0, limit=9)) == 2
    assert len(await records.rig_events("RIG-A", after=0, limit=9)) == 1


async def test_a_removal_says_which_unit_and_why(
    records: Records, lot_id: str, actor: Actor
) -> None:
    with pytest.raises(InvalidRequest) as refusal:
        await records.add_rig_event(event(kind="REMOVED"), actor)
    assert len(refusal.value.errors) == 2
    with pytest.raises(InvalidRequest, match="REMOVED"):
        await records.add_rig_event(event(cause="SYMPTOM"), actor)
    unit = {"lot_number": "CC25-0117", "unit_serial": "001"}
    removal = event(kind="REMOVED", unit=unit, cause="SCHEDULED")
    assert (await records.add_rig_event(removal, actor))[1] is True


async def test_an_inspection_makes_its_unit_known_but_not_its_lot(
    records: Records, store: Store, clock: StandingClock, lot_id: str, actor: Actor
) -> None:
    _, is_new = await records.add_inspection(seen(), actor)
    assert is_new
    [(_, unit)] = await Lots(store, clock).units(lot_id, after=0, limit=9)
    assert (unit.unit_serial, unit.listed) == ("001", False)
    elsewhere = seen("i2", unit={"lot_number": "CC25-0999", "unit_serial": "001"})
    with pytest.raises(NotFound) as refusal:
        await records.add_inspection(elsewhere, actor)
    assert "register it" in refusal.value.detail
    assert refusal.value.errors[0].pointer == "/unit/lot_number"
    assert len(await records.inspections(lot_id, after=0, limit=9)) == 1
    assert len(await records.inspections("lot_x", after=0, limit=9)) == 0


async def test_an_inspection_again_adds_nothing_and_other_content_clashes(
    records: Records, lot_id: str, actor: Actor
) -> None:
    first, _ = await records.add_inspection(seen(), actor)
    again, is_new = await records.add_inspection(seen(), actor)
    assert (again, is_new) == (first, False)
    with pytest.raises(AlreadyExists):
        await records.add_inspection(seen(leak_class=4), actor)


async def test_an_inspection_must_say_what_was_seen(
    records: Records, lot_id: str, actor: Actor
) -> None:
    with pytest.raises(InvalidRequest, match="at least one"):
        await records.add_inspection(seen(leak_class=None, function_check=None), actor)
