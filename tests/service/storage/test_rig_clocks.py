"""When stations were last seen, by rows whose dates can and cannot be believed."""

from datetime import datetime, timedelta

import pytest
from lots_by_hand import GOOD, LOT, add_rows, at, lot_key_of, run_rows

from service.storage.rig_clocks import (
    MOST_AHEAD,
    NeighbourRecord,
    StationRecord,
    read_history,
    read_neighbours,
    read_stations,
    rig_clocks,
)
from service.storage.store import Cursor, Store

NEXT_DAY = at(24)
YEARS_AHEAD = 24 * 365 * 10


def stations(store: Store, *rig_ids: str) -> list[StationRecord]:
    def question(db: Cursor) -> list[StationRecord]:
        read_history(db, rig_ids)
        return read_stations(db)

    return store.read_now(question)


def neighbours(store: Store, lot_number: str = LOT) -> list[NeighbourRecord]:
    lot_key = lot_key_of(store, lot_number)

    def question(db: Cursor) -> list[NeighbourRecord]:
        read_history(db, ["RIG-A"])
        return read_neighbours(db, lot_key)

    return store.read_now(question)


def naive(instant: datetime) -> datetime:
    return instant.replace(tzinfo=None)


def with_last_row(rows: list, hour: float) -> list:
    """The rows, the last of them dated `hour` hours after the first instant."""
    return [*rows[:-1], rows[-1] | {"started_at": at(hour)}]


def test_the_clock_of_a_rig_is_the_newest_row_of_its_stations(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3), received_at=NEXT_DAY)
    later = run_rows("002", "run-2", [GOOD] * 3, hour=5, station_no=2)
    add_rows(store, later, received_at=NEXT_DAY)
    found = stations(store, "RIG-A")
    assert [(each.station_no, each.last_started_at) for each in found] == [
        (1, naive(at(0, 3))),
        (2, naive(at(5, 3))),
    ]
    assert rig_clocks(found) == {"RIG-A": naive(at(5, 3))}
    assert stations(store) == []


def test_a_row_dated_far_after_its_receipt_moves_no_clock(store: Store) -> None:
    rows = with_last_row(run_rows("001", "run-1", [GOOD] * 3), YEARS_AHEAD)
    add_rows(store, rows, received_at=NEXT_DAY)
    [found] = stations(store, "RIG-A")
    assert found.last_started_at == found.believed_at == naive(at(0, 2))


@pytest.mark.parametrize(("ahead_s", "is_believed"), [(0, True), (1, False)])
def test_a_rig_may_be_ahead_by_a_day_and_no_more(
    store: Store, ahead_s: int, is_believed: bool
) -> None:
    rows = with_last_row(run_rows("001", "run-1", [GOOD] * 3), 200)
    receipt = at(200) - MOST_AHEAD - timedelta(seconds=ahead_s)
    add_rows(store, rows, received_at=receipt)
    [found] = stations(store, "RIG-A")
    assert (found.last_started_at == naive(at(200))) == is_believed


def test_a_stretch_whose_every_row_is_ahead_keeps_its_dates_and_moves_no_clock(
    store: Store,
) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3), received_at=NEXT_DAY)
    wrong = run_rows("002", "run-2", [GOOD] * 3, hour=YEARS_AHEAD, station_no=2)
    add_rows(store, wrong, received_at=NEXT_DAY)
    first, second = stations(store, "RIG-A")
    assert second.last_started_at == naive(at(YEARS_AHEAD, 3))
    assert second.believed_at is None
    assert rig_clocks([first, second]) == {"RIG-A": naive(at(0, 3))}


def test_where_nothing_can_be_believed_the_rows_are_all_there_is(store: Store) -> None:
    # The clock of the service may be the one that is wrong: silence must still be seen.
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3), received_at=at(-1000))
    assert rig_clocks(stations(store, "RIG-A")) == {"RIG-A": naive(at(0, 3))}


def test_units_of_other_lots_on_the_same_station_at_the_same_time_are_neighbours(
    store: Store,
) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 9), received_at=NEXT_DAY)
    beside = run_rows("501", "run-5", [GOOD] * 9, hour=0.001)
    for row in beside:
        row["lot_number"] = "CC25-0118"
    add_rows(store, beside, received_at=NEXT_DAY)
    [found] = neighbours(store)
    assert (found.lot_number, found.unit_serial, found.run_id) == ("CC25-0118", "501", "run-5")
    assert (found.first_at, found.last_at, found.row_count) == (
        naive(beside[0]["started_at"]),
        naive(beside[-1]["started_at"]),
        9,
    )
    [back] = neighbours(store, "CC25-0118")
    assert back.unit_serial == "001"


@pytest.mark.parametrize("columns", [{"hour": 1.0}, {"station_no": 2}, {"rig_id": "RIG-B"}])
def test_another_time_station_or_rig_makes_no_neighbour(store: Store, columns: dict) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 9), received_at=NEXT_DAY)
    apart = run_rows("501", "run-5", [GOOD] * 9, **columns)
    for row in apart:
        row["lot_number"] = "CC25-0118"
    add_rows(store, apart, received_at=NEXT_DAY)
    assert neighbours(store) == []


def test_a_row_that_cannot_be_believed_does_not_reach_later_units(store: Store) -> None:
    add_rows(
        store, with_last_row(run_rows("001", "run-1", [GOOD] * 9), YEARS_AHEAD),
        received_at=NEXT_DAY,
    )  # fmt: skip
    later = run_rows("501", "run-5", [GOOD] * 9, hour=10)
    for row in later:
        row["lot_number"] = "CC25-0118"
    add_rows(store, later, received_at=NEXT_DAY)
    assert (neighbours(store), neighbours(store, "CC25-0118")) == ([], [])
