"""Which calibration of a sensor holds when, and what it makes of a reading."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.reduction.sensor_corrections import (
    changes_readings,
    corrections_of,
    is_good_check,
    overlapping,
    own_sensors,
    reads_low,
    records_in_force,
    true_pressure_mpa,
)
from schemas.calibrations import Calibration, NewCalibration
from schemas.lots import RigSettings, SensorSetting

DAY_0 = datetime(2025, 6, 1, tzinfo=UTC)


def day(number: float) -> datetime:
    return DAY_0 + timedelta(days=number)


def record(number: int, first: float, last: float, **said: Any) -> Calibration:
    """A record of one sensor from one day until before another; as it was unless said."""
    content = {"sensor_id": "PT-B4", "gain": 1.06, "offset_mpa": 0.0} | said
    return Calibration(
        calibration_id=f"cal_{number}",
        calibration=NewCalibration(
            calibration_key=f"K-{number}",
            from_at=day(first),
            to_at=day(last),
            found_at=day(last),
            reason="yearly check",
            **content,
        ),
        recorded_at=day(100 + number),
        recorded_by="Test bench",
    )


def parts(records: list[Calibration]) -> list[tuple[str, float, float]]:
    """Id of the record in force, with its first and last day."""
    return [
        (
            each.calibration.calibration_id,
            (each.from_at - DAY_0) / timedelta(days=1),
            (each.to_at - DAY_0) / timedelta(days=1),
        )
        for each in records_in_force(records)
    ]


def test_the_quoted_pressures_come_back() -> None:
    # The invented scenario: 33.25 MPa shown is 31.37 where the sensor reads 6 % high, 35.4
    # where it reads 6 % low; by hand 33.25 / 1.06 and 33.25 / 0.94.
    assert round(true_pressure_mpa(33.25, 1.06, 0.0), 2) == 31.37
    assert round(true_pressure_mpa(33.25, 0.94, 0.0), 1) == 35.4
    assert true_pressure_mpa(10.5, 1.0, 0.5) == 10.0


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        # A newer record inside the older one splits it.
        ((4, 6), [("cal_1", 0, 4), ("cal_2", 4, 6), ("cal_1", 6, 10)]),
        ((0, 10), [("cal_2", 0, 10)]),
        ((8, 12), [("cal_1", 0, 8), ("cal_2", 8, 12)]),
        # Ends touch: the end of a time does not belong to it.
        ((10, 12), [("cal_1", 0, 10), ("cal_2", 10, 12)]),
        ((11, 12), [("cal_1", 0, 10), ("cal_2", 11, 12)]),
    ],
)
def test_the_newest_record_holds_where_two_overlap(
    second: tuple[float, float], expected: list[tuple[str, float, float]]
) -> None:
    assert parts([record(1, 0, 10), record(2, *second, gain=1.02)]) == expected


def test_sensors_do_not_supersede_each_other() -> None:
    both = [record(1, 0, 10), record(2, 0, 10, sensor_id="PT-B5")]
    assert parts(both) == [("cal_1", 0, 10), ("cal_2", 0, 10)]


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(1, 20)), max_size=7))
def test_at_every_instant_the_last_record_that_covers_it_is_in_force(
    times: list[tuple[int, int]],
) -> None:
    # Day by day instead of by intervals.
    records = [record(n, first, first + length) for n, (first, length) in enumerate(times)]
    in_force = records_in_force(records)
    for hour in range(0, 41 * 2):
        instant = day(hour / 2)
        covering = [r for r in records if r.calibration.from_at <= instant < r.calibration.to_at]
        found = [each.calibration for each in in_force if each.from_at <= instant < each.to_at]
        assert found == covering[-1:]


def test_a_good_check_corrects_nothing_and_can_end_a_correction() -> None:
    off, good = record(1, 0, 10), record(2, 4, 10, gain=1.0)
    assert is_good_check(good.calibration) and not is_good_check(off.calibration)
    assert corrections_of([good]) == []
    [left] = corrections_of([off, good])
    assert (left.from_at, left.to_at, left.gain) == (day(0), day(4), 1.06)


def test_a_record_that_repeats_another_changes_no_correction() -> None:
    assert corrections_of([record(1, 0, 10), record(2, 4, 6)]) == corrections_of([record(1, 0, 10)])
    # Neighbours in time that say the same are one; others are two.
    assert len(corrections_of([record(1, 0, 4), record(2, 4, 6)])) == 1
    assert len(corrections_of([record(1, 0, 4), record(2, 4, 6, offset_mpa=0.1)])) == 2


def test_instants_are_compared_whatever_their_zone() -> None:
    east = timezone(timedelta(hours=2))
    said = record(1, 0, 1).calibration
    moved = Calibration(
        calibration_id="cal_2",
        calibration=NewCalibration(
            calibration_key="K-2",
            sensor_id="PT-B4",
            from_at=said.from_at.astimezone(east),
            to_at=said.to_at.astimezone(east),
            gain=1.06,
            offset_mpa=0.0,
            found_at=said.found_at,
            reason="the same in another zone",
        ),
        recorded_at=day(102),
        recorded_by="Test bench",
    )
    assert corrections_of([moved]) == corrections_of([record(1, 0, 1)])


def test_a_good_check_changes_readings_only_where_it_replaces_a_record_that_did() -> None:
    off, good = record(1, 0, 10), record(2, 4, 10, gain=1.0)
    elsewhere = record(3, 10, 12, gain=1.0)
    assert changes_readings(off, [])
    assert not changes_readings(good, [])
    assert changes_readings(good, [off])
    assert not changes_readings(elsewhere, [off])
    assert overlapping(good, [off, good, elsewhere]) == [off]


@pytest.mark.parametrize(
    ("said", "highest", "expected"),
    [
        ({"gain": 0.94}, 33.25, (33.25, 35.37)),
        ({"gain": 1.0, "offset_mpa": -0.5}, 33.25, (33.25, 33.75)),
        # High at working pressure, but nothing shown where 0.94 MPa is left in the unit.
        ({"gain": 1.06, "offset_mpa": -1.0}, 33.25, (0.0, 0.94)),
        ({"gain": 1.06}, 33.25, None),
        ({"gain": 1.0}, 33.25, None),
        # Within what the sensor is stated to be sure of.
        ({"gain": 0.999, "pressure_uncertainty_mpa": 0.1}, 33.25, None),
        ({"gain": 0.99, "pressure_uncertainty_mpa": 0.1}, 33.25, (33.25, 33.59)),
    ],
)
def test_a_sensor_that_shows_less_than_is_there_is_noticed(
    said: dict[str, float], highest: float, expected: tuple[float, float] | None
) -> None:
    notice = reads_low(record(1, 0, 1, **said).calibration, highest)
    if expected is None:
        assert notice is None
    else:
        assert notice is not None and notice.code == "READS_LOW"
        assert (notice.shown_mpa, round(float(notice.true_mpa), 2)) == expected  # type: ignore[arg-type]


def test_a_sensor_without_rows_is_noticed_by_its_gain() -> None:
    assert reads_low(record(1, 0, 1, gain=0.94).calibration, None) is not None
    assert reads_low(record(1, 0, 1, gain=1.06).calibration, None) is None


def test_rows_without_a_sensor_are_of_the_one_sensor_of_their_station() -> None:
    def sensor(sensor_id: str, station_no: int | None) -> SensorSetting:
        return SensorSetting(sensor_id=sensor_id, full_scale_mpa=60.0, station_no=station_no)

    settings = RigSettings(
        sensors=[sensor("PT-1", 1), sensor("PT-2", 2), sensor("PT-2B", 2), sensor("PT-X", None)]
    )
    assert own_sensors({"RIG-B": settings}) == {("RIG-B", 1): "PT-1"}
