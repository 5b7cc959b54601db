"""Records of rigs and people are kept under their keys and read back as they were given."""

from datetime import UTC, datetime

from stores import FIRST_INSTANT, stamp

from schemas.lots import (
    CyclePoint,
    NewInspection,
    NewRigEvent,
    RigSettings,
    SensorSetting,
    UnitName,
)
from service.storage.lots import add_lot, find_lot
from service.storage.records import (
    add_inspection,
    add_rig_event,
    events_of_rigs,
    find_inspection,
    find_rig,
    find_rig_event,
    inspections_of_lot,
    list_inspections,
    list_rig_events,
    list_rigs,
    rigs_named,
    set_rig,
)
from service.storage.store import Cursor, Store
from service.storage.units import ensure_units

SETTINGS = RigSettings(
    stop_codes={"CNT_DONE": "TARGET_REACHED", "LOW_OIL": "LOW_FLUID"},
    sensors=[SensorSetting(sensor_id="A-P1", full_scale_mpa=60.0, station_no=1)],
)


def event(key: str, rig_id: str = "RIG-A") -> NewRigEvent:
    at = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
    return NewRigEvent(event_key=key, rig_id=rig_id, occurred_at=at, kind="STOPPED", raw_code="X")


def inspection(key: str, serial: str = "001") -> NewInspection:
    return NewInspection(
        inspection_key=key,
        unit=UnitName(lot_number="L1", unit_serial=serial),
        inspected_at=datetime(2026, 11, 25, 6, 30, tzinfo=UTC),
        purpose="END_OF_TEST",
        after=CyclePoint(rig_id="RIG-A", run_id="r1", cycle_in_run=2000),
        leak_class=0,
    )


def test_the_last_settings_of_a_rig_count_and_the_earlier_ones_stay(store: Store) -> None:
    def change(db: Cursor) -> None:
        assert find_rig(db, "RIG-A") is None
        set_rig(db, "RIG-A", RigSettings(), stamp(1))
        set_rig(db, "RIG-A", SETTINGS, stamp(2))
        set_rig(db, "RIG-B", RigSettings(time_zone="Europe/Berlin"), stamp(3))

    store.write_now(change)
    rig = store.read_now(lambda db: find_rig(db, "RIG-A"))
    assert rig is not None
    assert (rig.settings, rig.recorded_at) == (SETTINGS, stamp(2).at)
    listed = store.read_now(lambda db: list_rigs(db, after="", limit=9))
    assert [each.rig_id for each in listed] == ["RIG-A", "RIG-B"]
    assert store.read_now(lambda db: list_rigs(db, after="RIG-A", limit=9)) == listed[1:]
    assert store.read_now(lambda db: rigs_named(db, ["RIG-A", "RIG-Z"])) == {"RIG-A": rig}
    count = store.read_now(lambda db: db.execute("SELECT count(*) FROM rig_settings").fetchone())
    assert count == (3,)


def test_an_event_key_belongs_to_its_rig(store: Store) -> None:
    def change(db: Cursor) -> None:
        add_rig_event(db, event("e1"), None, stamp())
        add_rig_event(db, event("e1", rig_id="RIG-B"), 7, stamp())
        add_rig_event(db, event("e2"), None, stamp())

    store.write_now(change)
    found = store.read_now(lambda db: find_rig_event(db, "RIG-B", "e1"))
    assert found is not None
    assert found.event == event("e1", rig_id="RIG-B")
    assert store.read_now(lambda db: find_rig_event(db, "RIG-C", "e1")) is None
    every = store.read_now(lambda db: list_rig_events(db, None, after=0, limit=9))
    assert [each.event.event_key for _, each in every] == ["e1", "e1", "e2"]
    of_one = store.read_now(lambda db: list_rig_events(db, "RIG-A", after=every[0][0], limit=9))
    assert [each.event.event_key for _, each in of_one] == ["e2"]
    of_two = store.read_now(lambda db: events_of_rigs(db, ["RIG-B", "RIG-A"]))
    assert [(unit_key, each.event.rig_id) for unit_key, each in of_two] == [
        (None, "RIG-A"),
        (None, "RIG-A"),
        (7, "RIG-B"),
    ]


def test_inspections_are_found_by_key_and_by_lot(store: Store) -> None:
    def change(db: Cursor) -> tuple[int, str]:
        lot_key = add_lot(db, "L1", FIRST_INSTANT)
        other_key = add_lot(db, "L2", FIRST_INSTANT)
        keys = ensure_units(db, lot_key, ["001", "002"])
        elsewhere = ensure_units(db, other_key, ["001"])
        add_inspection(db, inspection("i2"), keys["001"], stamp())
        add_inspection(db, inspection("i1", "002"), keys["002"], stamp())
        add_inspection(db, inspection("i3"), elsewhere["001"], stamp())
        return lot_key, find_lot(db, lot_key).lot_id

    lot_key, lot_id = store.write_now(change)
    found = store.read_now(lambda db: find_inspection(db, "i2"))
    assert found is not None
    assert found.inspection == inspection("i2")
    assert store.read_now(lambda db: find_inspection(db, "i9")) is None
    of_lot = store.read_now(lambda db: inspections_of_lot(db, lot_key))
    assert [each.inspection.inspection_key for _, each in of_lot] == ["i1", "i2"]
    every = store.read_now(lambda db: list_inspections(db, None, after=0, limit=9))
    assert [each.inspection.inspection_key for _, each in every] == ["i2", "i1", "i3"]
    listed = store.read_now(lambda db: list_inspections(db, lot_id, after=every[0][0], limit=9))
    assert [each.inspection.inspection_key for _, each in listed] == ["i1"]
