"""Recording and reading calibrations: each key once, and lots told of those about them."""

from __future__ import annotations

from typing import Any

import pytest
from lots_by_hand import GOOD, LOT, add_rows, approved, assign, at, lot_id_of, register, run_rows
from stores import StandingClock

from schemas.calibrations import Calibration, CalibrationReport, NewCalibration
from service.errors import AlreadyExists, InvalidRequest, NotFound
from service.storage.store import Store
from service.tokens import Actor
from service.workflows.calibrations import Calibrations

pytestmark = pytest.mark.anyio


def body(key: str = "K-1", **said: Any) -> NewCalibration:
    content = {
        "sensor_id": "PT-1",
        "from_at": at(-1),
        "to_at": at(5),
        "gain": 1.06,
        "offset_mpa": 0.0,
        "found_at": at(5),
        "reason": "yearly check",
    }
    return NewCalibration(calibration_key=key, **(content | said))


@pytest.fixture
def given(store: Store, clock: StandingClock) -> Calibrations:
    """The workflow over a lot of two units, one on the sensor and one not."""
    register(store)
    assign(store, approved(store))
    add_rows(store, run_rows("001", "run-1", [33.25] * 8 + [GOOD + 1], sensor_id="PT-1"))
    add_rows(store, run_rows("002", "run-2", [33.25] * 4, sensor_id="PT-2", hour=1))
    return Calibrations(store, clock)


async def test_a_record_is_made_once(given: Calibrations, actor: Actor) -> None:
    made, is_new = await given.record(body(), actor)
    assert is_new and made.calibration == body()
    again, is_new = await given.record(body(), actor)
    assert (again, is_new) == (made, False)
    with pytest.raises(AlreadyExists, match="K-1"):
        await given.record(body(gain=1.05), actor)
    assert await given.find(made.calibration_id) == made
    assert [each for _, each in await given.all(None, after=0, limit=9)] == [
        _recorded(made),
    ]
    with pytest.raises(NotFound, match="cal_nowhere"):
        await given.find("cal_nowhere")


def _recorded(report: CalibrationReport) -> Calibration:
    return Calibration(
        calibration_id=report.calibration_id,
        calibration=report.calibration,
        recorded_at=report.recorded_at,
        recorded_by=report.recorded_by,
    )


async def test_a_time_that_is_empty_is_refused(given: Calibrations, actor: Actor) -> None:
    with pytest.raises(InvalidRequest, match="from_at must lie before to_at"):
        await given.record(body(to_at=at(-1)), actor)


async def test_the_answer_tells_what_it_touches(given: Calibrations, actor: Actor) -> None:
    made, _ = await given.record(body(), actor)
    [lot] = made.lots
    assert lot.lot_number == LOT
    [unit] = lot.units
    counts = (unit.touched_cycles, unit.counted_cycles_before, unit.counted_cycles_after)
    # 34.0 MPa shown is 32.08 in truth and still counts.
    assert (unit.unit_serial, counts) == ("001", (9, 9, 1))
    assert lot.before.evaluation_key != lot.after.evaluation_key


async def test_a_lot_names_the_records_about_its_rows(
    given: Calibrations, store: Store, actor: Actor
) -> None:
    lot_id = lot_id_of(store)
    assert await given.of_lot(lot_id) == []
    for key, sensor_id, gain in (("K-1", "PT-1", 1.06), ("K-2", "PT-2", 1.0), ("K-3", "PT-9", 2.0)):
        await given.record(body(key, sensor_id=sensor_id, gain=gain), actor)
    found = await given.of_lot(lot_id)
    assert [each.calibration.calibration_key for each in found] == ["K-1", "K-2"]
    with pytest.raises(NotFound):
        await given.of_lot("lot_nowhere")


async def test_rows_that_come_later_are_looked_back_at_too(
    given: Calibrations, store: Store, actor: Actor
) -> None:
    made, _ = await given.record(body(), actor)
    add_rows(store, run_rows("003", "run-3", [33.25] * 5, sensor_id="PT-1", hour=2))
    [lot] = (await given.find(made.calibration_id)).lots
    assert [unit.unit_serial for unit in lot.units] == ["001", "003"]
