"""Calibrations are added, found by key and by id, and listed as they were recorded."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import duckdb
import pytest
from stores import stamp

from schemas.calibrations import NewCalibration
from service.storage.calibrations import (
    Numbered,
    add_calibration,
    calibrations_during,
    find_by_id,
    find_by_key,
    list_calibrations,
)
from service.storage.store import Store


def month(number: int) -> datetime:
    return datetime(2026, number, 1, tzinfo=UTC)


def add(store: Store, number: int, **said: Any) -> Numbered:
    content = {"sensor_id": "PT-1", "from_at": month(3), "to_at": month(6)} | said
    record = NewCalibration(
        calibration_key=f"K-{number}",
        gain=1.06,
        offset_mpa=-0.2,
        found_at=month(9),
        reason="yearly check",
        **content,
    )
    return store.write_now(lambda db: add_calibration(db, record, stamp(number)))


def test_a_calibration_is_read_back_as_it_was_written(store: Store) -> None:
    made = add(store, 1, pressure_uncertainty_mpa=0.1)
    number, record = made
    assert (record.recorded_at, record.recorded_by) == (stamp(1).at, stamp().by)
    assert store.read_now(lambda db: find_by_key(db, "K-1")) == made
    assert store.read_now(lambda db: find_by_id(db, record.calibration_id)) == made
    assert store.read_now(lambda db: find_by_key(db, "K-2")) is None
    assert store.read_now(lambda db: find_by_id(db, "cal_nowhere")) is None
    assert number > 0


def test_a_key_is_used_once(store: Store) -> None:
    add(store, 1)
    with pytest.raises(duckdb.ConstraintException):
        add(store, 1)


def test_calibrations_are_listed_as_recorded(store: Store) -> None:
    made = [add(store, n, sensor_id=f"PT-{n % 2}") for n in range(1, 6)]
    first = store.read_now(lambda db: list_calibrations(db, None, after=0, limit=2))
    assert first == made[:2]
    rest = store.read_now(lambda db: list_calibrations(db, None, after=first[-1][0], limit=9))
    assert rest == made[2:]
    of_sensor = store.read_now(lambda db: list_calibrations(db, "PT-0", after=0, limit=9))
    assert of_sensor == [made[1], made[3]]


@pytest.mark.parametrize(
    ("first", "last", "found"),
    [(1, 2, 0), (1, 3, 1), (5, 9, 1), (6, 9, 0), (4, 5, 1), (1, 12, 1)],
)
def test_those_about_a_time_are_found(store: Store, first: int, last: int, found: int) -> None:
    # From March until before June.
    add(store, 1)
    asked = store.read_now(lambda db: calibrations_during(db, month(first), month(last)))
    assert len(asked) == found
