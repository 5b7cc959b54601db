"""Which calibrations changed what the rows of a lot say."""

from __future__ import annotations

import pytest
from lots_by_hand import GOOD, LOT, add_rows, at, lot_id_of, run_rows
from stores import stamp

from schemas.calibrations import NewCalibration
from service.storage import calibrations
from service.storage.store import Store
from service.workflows.calibration_changes import calibration_changes
from service.workflows.reduce_lot import read_lot


@pytest.fixture
def ran(store: Store) -> Store:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 4, sensor_id="PT-1"))
    add_rows(store, run_rows("002", "run-2", [GOOD] * 4, sensor_id="PT-2", hour=1))
    return store


def calibrate(store: Store, number: int, sensor_id: str, gain: float, hour: float = 0) -> None:
    record = NewCalibration(
        calibration_key=f"K-{number}",
        sensor_id=sensor_id,
        from_at=at(hour),
        to_at=at(hour + 5),
        gain=gain,
        offset_mpa=0.0,
        found_at=at(9),
        reason="yearly check",
    )
    store.write_now(lambda db: calibrations.add_calibration(db, record, stamp(number)))


def changed(store: Store) -> list[tuple[str, list[str]]]:
    """Recording minute of each record with the serials whose rows it changed."""

    def question(db: object) -> list[tuple[str, list[str]]]:
        reading = read_lot(db, lot_id_of(store, LOT))  # type: ignore[arg-type]
        serials = {unit.unit_id: unit.unit_serial for unit in reading.facts.units}
        return [
            (f"{each.change.recorded_at:%M}", sorted(serials[unit] for unit in each.unit_ids))
            for each in calibration_changes(db, reading)  # type: ignore[arg-type]
        ]

    return store.read_now(question)


def test_records_are_told_with_the_units_whose_rows_they_changed(ran: Store) -> None:
    assert changed(ran) == []
    calibrate(ran, 1, "PT-1", 1.06)
    calibrate(ran, 2, "PT-9", 1.06)
    calibrate(ran, 3, "PT-2", 1.06, hour=3)
    calibrate(ran, 4, "PT-2", 0.97)
    assert changed(ran) == [("01", ["001"]), ("04", ["002"])]


def test_a_good_check_changes_rows_only_where_it_takes_a_correction_back(ran: Store) -> None:
    calibrate(ran, 1, "PT-1", 1.0)
    assert changed(ran) == []
    calibrate(ran, 2, "PT-1", 1.06)
    calibrate(ran, 3, "PT-1", 1.0)
    assert changed(ran) == [("02", ["001"]), ("03", ["001"])]
