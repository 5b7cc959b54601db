"""A unit's raw rows, a page at a time, against the rows that were uploaded."""

from datetime import UTC, datetime, timedelta

import pytest
from stores import FIRST_INSTANT

from schemas.unit_rows import FIRST_PLACE, LoggedCycle, StartRange
from service.storage.lots import add_lot
from service.storage.store import Cursor, Store
from service.storage.unit_rows import rows_of_unit
from service.storage.units import ensure_units

START = datetime(2026, 11, 20, 6, 0, tzinfo=UTC)
ALL = StartRange(from_at=None, to_at=None)
_UPLOAD = """
INSERT INTO uploads VALUES (1, 'up_1', 'aa', 'CYCLES', $at, 'test', 1, 5, 0, 'UTC', '{}')
"""
_STRETCH = "INSERT INTO taken_stretches VALUES ($key, 'RIG-A', $run_id, 1, $unit_key)"
_ROW = """
INSERT INTO cycle_rows (stretch_key, upload_key, cycle_in_run, started_at, pressure_peak_mpa,
    rise_time_s, dwell_time_s)
VALUES ($stretch, 1, $cycle, $at, 33.25, 0.3, 'NaN')
"""


@pytest.fixture
def unit_key(store: Store) -> int:
    """A unit with two stretches of three cycles, a second apart, and another unit between."""

    def change(db: Cursor) -> int:
        lot_key = add_lot(db, "CC25-0117", FIRST_INSTANT)
        keys = ensure_units(db, lot_key, ["001", "002"])
        db.execute(_UPLOAD, {"at": FIRST_INSTANT})
        for stretch, serial in ((1, "001"), (2, "002"), (3, "001")):
            values = {"key": stretch, "run_id": f"run-{stretch}", "unit_key": keys[serial]}
            db.execute(_STRETCH, values)
            for cycle in (1, 2, 3):
                at = (START + timedelta(seconds=10 * stretch + cycle)).replace(tzinfo=None)
                db.execute(_ROW, {"stretch": stretch, "cycle": cycle, "at": at})
        return keys["001"]

    return store.write_now(change)


def pages(store: Store, unit_key: int, started: StartRange, limit: int) -> list[LoggedCycle]:
    after, found = FIRST_PLACE, []
    while True:
        page = store.read_now(
            lambda db, place=after: rows_of_unit(db, unit_key, started, after=place, limit=limit)
        )
        found += [placed.cycle for placed in page]
        if len(page) < limit:
            return found
        after = page[-1].place


@pytest.mark.parametrize("limit", [1, 2, 4, 10])
def test_pages_of_any_size_give_every_row_of_the_unit_once(
    store: Store, unit_key: int, limit: int
) -> None:
    found = pages(store, unit_key, ALL, limit)
    assert [(row.run_id, row.cycle_in_run) for row in found] == [
        (run, cycle) for run in ("run-1", "run-3") for cycle in (1, 2, 3)
    ]


def test_a_range_takes_its_start_and_leaves_its_end(store: Store, unit_key: int) -> None:
    started = StartRange(from_at=START + timedelta(seconds=12), to_at=START + timedelta(seconds=31))
    found = pages(store, unit_key, started, 10)
    assert [row.started_at - START for row in found] == [
        timedelta(seconds=12),
        timedelta(seconds=13),
    ]


def test_what_was_not_recorded_is_absent(store: Store, unit_key: int) -> None:
    [row, *_] = pages(store, unit_key, ALL, 10)
    assert row == LoggedCycle(
        upload_id="up_1",
        rig_id="RIG-A",
        station_no=1,
        run_id="run-1",
        cycle_in_run=1,
        started_at=START + timedelta(seconds=11),
        pressure_peak_mpa=33.25,
        rise_time_s=0.3,
    )
