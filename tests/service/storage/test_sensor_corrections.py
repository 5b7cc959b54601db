"""Which rows a sensor read in a time, and how the texts of corrected rows are put together."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from lots_by_hand import GOOD, add_rows, at, run_rows

from schemas.sensor_corrections import NO_SENSOR_KEY, SensorCorrection
from service.storage.sensor_corrections import (
    TouchedRows,
    judged_parts,
    naive,
    row_corrections,
    stretch_spans,
    touched_rows,
)
from service.storage.store import Store

OWN = {("RIG-A", 1): "PT-1"}


def time(first: datetime, last: datetime, sensor_id: str = "PT-1") -> SensorCorrection:
    return SensorCorrection(
        sensor_id=sensor_id, from_at=first, to_at=last, gain=1.06, offset_mpa=0.0
    )


def touched(store: Store, own: Any, *times: SensorCorrection) -> list[TouchedRows]:
    def question(db: Any) -> list[TouchedRows]:
        return touched_rows(db, stretch_spans(db, at(-9), at(99)), times, own)

    return store.read_now(question)


@pytest.fixture
def ran(store: Store) -> Store:
    """Ten cycles with a sensor and, an hour later, five without one."""
    add_rows(store, run_rows("001", "run-1", [GOOD] * 9 + [GOOD + 1], sensor_id="PT-1"))
    add_rows(store, run_rows("002", "run-2", [GOOD] * 5, hour=1))
    return store


def test_rows_that_name_a_sensor_are_of_that_one(ran: Store) -> None:
    [found] = touched(ran, {}, time(at(-1), at(5)))
    assert (found.stored_rows, found.highest_peak_mpa, found.place) == (10, GOOD + 1, 0)
    assert (found.first_at, found.last_at) == (naive(at(cycles=1)), naive(at(cycles=10)))


def test_rows_that_name_none_are_of_the_one_of_their_station(ran: Store) -> None:
    first, second = touched(ran, OWN, time(at(-1), at(5)))
    assert (first.stored_rows, second.stored_rows) == (10, 5)
    assert (first.sensor_key == NO_SENSOR_KEY, second.sensor_key) == (False, NO_SENSOR_KEY)


def test_a_sensor_that_no_row_names_is_looked_for_at_its_station_only(ran: Store) -> None:
    assert touched(ran, OWN, time(at(-1), at(5), "PT-9")) == []
    [found] = touched(ran, {("RIG-A", 1): "PT-9"}, time(at(-1), at(5), "PT-9"))
    assert found.stored_rows == 5


@pytest.mark.parametrize(
    ("first", "last", "rows"), [(3, 7, 4), (0, 1, None), (1, 2, 1), (10, 11, 1), (10.5, 12, None)]
)
def test_a_time_takes_its_first_instant_and_not_its_last(
    ran: Store, first: float, last: float, rows: int | None
) -> None:
    found = touched(ran, {}, time(at(cycles=first), at(cycles=last)))
    assert [each.stored_rows for each in found] == ([] if rows is None else [rows])


def test_corrections_are_cut_to_the_rows_that_are_there(ran: Store) -> None:
    def question(db: Any) -> Any:
        spans = stretch_spans(db, at(-9), at(99))
        return row_corrections(db, spans, [time(at(cycles=2.5), at(50))], {})

    [[found]] = ran.read_now(question).values()
    assert found.from_at == naive(at(cycles=3))
    assert found.to_at == naive(at(cycles=10)) + timedelta(microseconds=1)
    assert (found.sensor_id, found.gain) == ("PT-1", 1.06)


def test_spans_are_those_of_the_time_and_of_the_lot(ran: Store) -> None:
    def spans(first: datetime, last: datetime, lot_key: int | None = None) -> int:
        return len(ran.read_now(lambda db: stretch_spans(db, first, last, lot_key=lot_key)))

    assert spans(at(-1), at(5)) == 2
    assert spans(at(0.5), at(5)) == 1
    assert spans(at(2), at(5)) == 0
    assert spans(at(-1), at(5), lot_key=99) == 0


def test_instants_are_compared_in_utc() -> None:
    east = timezone(timedelta(hours=2))
    assert naive(datetime(2026, 3, 2, 8, tzinfo=east)) == datetime(2026, 3, 2, 6)
    assert naive(datetime(2026, 3, 2, 6, tzinfo=UTC)) == datetime(2026, 3, 2, 6)


def test_the_conditions_stand_once_and_are_asked_twice() -> None:
    texts = {
        "judged": "judged_rows AS (FROM source_rows)",
        "true_rows": "true_rows AS (FROM rows_as_read)",
        "found_out": "judged_rows AS (FROM true_judged)",
    }
    assert judged_parts(texts, corrected=False) == [texts["judged"]]
    assert judged_parts(texts, corrected=True) == [
        "rows_as_read AS (FROM source_rows)",
        "true_rows AS (FROM rows_as_read)",
        "true_judged AS (FROM true_rows)",
        "judged_rows AS (FROM true_judged)",
    ]
