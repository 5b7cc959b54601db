"""What a record's look-back says of lots, and which notices go out at once."""

from __future__ import annotations

from typing import Any

import pytest
from lots_by_hand import GOOD, add_rows, approved, assign, at, register, run_rows, set_rig
from stores import stamp

from schemas.calibrations import NewCalibration, TouchedLot
from service.storage import calibrations
from service.storage.calibrations import Numbered
from service.storage.store import Cursor, Store
from service.workflows.look_back import look_back, notices_of
from service.workflows.sensor_corrections import RowsRead, rows_read


@pytest.fixture
def ran(store: Store) -> Store:
    """Two lots on one sensor, and a unit on another."""
    for lot_number, hour in (("CC25-0118", 0), ("CC25-0117", 1)):
        register(store, lot_number)
        rows = run_rows("001", f"run-{lot_number}", [33.25] * 4, hour=hour, sensor_id="PT-1")
        add_rows(store, [row | {"lot_number": lot_number} for row in rows])
    add_rows(store, run_rows("002", "run-2", [GOOD] * 4, hour=2, sensor_id="PT-2"))
    assign(store, approved(store))
    return store


def calibrate(store: Store, number: int = 1, **said: Any) -> Numbered:
    content = {"sensor_id": "PT-1", "gain": 1.06, "from_at": at(-1), "to_at": at(9)} | said
    record = NewCalibration(
        calibration_key=f"K-{number}",
        offset_mpa=0.0,
        found_at=at(9),
        reason="yearly check",
        **content,
    )
    return store.write_now(lambda db: calibrations.add_calibration(db, record, stamp(number)))


def looked_back(store: Store, numbered: Numbered) -> list[TouchedLot]:
    def question(db: Cursor) -> list[TouchedLot]:
        read = rows_read(db, numbered[1].calibration)
        return look_back(db, numbered, read, keep=False)

    return store.read_now(question)


def test_every_lot_with_rows_of_the_sensor_is_told_by_number(ran: Store) -> None:
    lots = looked_back(ran, calibrate(ran))
    assert [lot.lot_number for lot in lots] == ["CC25-0117", "CC25-0118"]
    assert [[unit.unit_serial for unit in lot.units] for lot in lots] == [["001"], ["001"]]
    counted = [(u.counted_cycles_before, u.counted_cycles_after) for u in lots[0].units]
    assert counted == [(4, 0)]


def test_the_other_records_stay_on_both_sides(ran: Store) -> None:
    # The first record loses all four cycles; the second changes three of them back.
    calibrate(ran)
    second = calibrate(ran, 2, gain=1.0, to_at=at(1, cycles=4))
    [unit] = looked_back(ran, second)[0].units
    assert (unit.counted_cycles_before, unit.counted_cycles_after) == (0, 3)


def test_a_record_about_no_rows_looks_back_at_nothing(ran: Store) -> None:
    assert looked_back(ran, calibrate(ran, sensor_id="PT-9")) == []
    assert looked_back(ran, calibrate(ran, 2, from_at=at(3))) == []


def test_keeping_while_looking_back_changes_no_answer(ran: Store) -> None:
    numbered = calibrate(ran)

    def kept(db: Cursor) -> list[TouchedLot]:
        return look_back(db, numbered, rows_read(db, numbered[1].calibration), keep=True)

    assert ran.write_now(kept) == looked_back(ran, numbered)


def notices(store: Store, numbered: Numbered) -> list[tuple[str, Any]]:
    said = numbered[1].calibration

    def question(db: Cursor) -> RowsRead:
        return rows_read(db, said)

    return [(each.code, each.shown_mpa) for each in notices_of(said, store.read_now(question))]


def test_a_sensor_that_read_low_is_noticed_at_its_highest_reading(ran: Store) -> None:
    assert notices(ran, calibrate(ran, gain=0.94)) == [("READS_LOW", 33.25)]
    assert notices(ran, calibrate(ran, 2)) == []


def test_rows_that_may_be_of_the_sensor_are_noticed(ran: Store) -> None:
    add_rows(ran, run_rows("003", "run-3", [GOOD] * 4, hour=3))
    sensor = {"sensor_id": "PT-1", "full_scale_mpa": 60.0, "station_no": 1}
    set_rig(ran, sensors=[sensor, sensor | {"sensor_id": "PT-2"}])
    [(code, _)] = notices(ran, calibrate(ran))
    assert code == "STATION_HAS_SEVERAL_SENSORS"
    # Before those rows there is no doubt.
    assert notices(ran, calibrate(ran, 2, to_at=at(2.5))) == []
