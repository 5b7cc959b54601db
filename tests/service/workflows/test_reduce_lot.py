"""The key of a lot's lives changes with every fact that can change one, and with no other."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
from bodies import attribute_spec, failed, lives_table, run_outs
from lots_by_hand import (
    GOOD,
    HIGH,
    LOT,
    LOW,
    Rows,
    add_rows,
    approved,
    assign,
    happen,
    inspect,
    list_sample,
    lot_id_of,
    lot_key_of,
    register,
    run_rows,
    set_rig,
)
from stores import open_store
from uploads_by_hand import rows_of, upload

from analysis.reduction.without_spec import permissive_spec
from schemas.lives import UnitLife
from schemas.lots import NewUnit
from service.errors import NotFound
from service.storage import memos
from service.storage.store import Store
from service.workflows.reduce_lot import LotReading, lives_of, read_lot

OTHER_LOT = "CC25-0118"


def runs() -> Rows:
    """Unit 001 and after it unit 002, both on station 1 of RIG-A; 002 was there last."""
    return [
        *run_rows("001", "run-1", [GOOD, LOW, GOOD, GOOD]),
        *run_rows("002", "run-2", [GOOD] * 5, hour=1),
    ]


def reading_of(store: Store, spec: str | None = None) -> LotReading:
    lot_id = lot_id_of(store)
    return store.read_now(lambda db: read_lot(db, lot_id, spec))


def lives_key(store: Store) -> str:
    return reading_of(store).lives_key


def lives(store: Store) -> list[UnitLife]:
    reading = reading_of(store)
    return store.read_now(lambda db: lives_of(db, reading, keep=False))


@pytest.fixture
def told(store: Store) -> Store:
    """A store with the lot, its specification, its rows and one record of each kind."""
    tell(store)
    return store


def tell(store: Store) -> None:
    register(store)
    list_sample(store, NewUnit(unit_serial="001"), NewUnit(unit_serial="002"))
    assign(store, approved(store))
    add_rows(store, runs())
    set_rig(store, stop_codes={"DOOR_OPEN": "RIG_STOP"})
    happen(store, "E-1")
    inspect(store, "001", "I-1")


# What changes the key ------------------------------------------------------------------------

CHANGES: dict[str, Callable[[Store], Any]] = {
    "an inspection": lambda store: inspect(store, "002", "I-2"),
    "the same inspection of another unit": lambda store: inspect(store, "002", "I-3"),
    "a rig event": lambda store: happen(store, "E-2"),
    "an event that names a unit": lambda store: happen(
        store, "E-2", serial="001", kind="REMOVED", cause="SYMPTOM"
    ),
    "a stop code of the rig": lambda store: set_rig(store, stop_codes={"DOOR_OPEN": "LOW_FLUID"}),
    "a sensor of the rig": lambda store: set_rig(
        store,
        stop_codes={"DOOR_OPEN": "RIG_STOP"},
        sensors=[{"sensor_id": "S-1", "full_scale_mpa": 60.0}],
    ),
    "more rows of a unit": lambda store: add_rows(
        store, run_rows("002", "run-2", [GOOD] * 6, hour=1)
    ),
    "another run of a unit": lambda store: add_rows(
        store, run_rows("001", "run-3", [GOOD], hour=0.5)
    ),
    "a row that contradicts": lambda store: add_rows(store, run_rows("001", "run-1", [GOOD, GOOD])),
    "a unit more in the sample": lambda store: list_sample(store, NewUnit(unit_serial="003")),
    "a unit that the sample does not name": lambda store: add_rows(
        store, run_rows("009", "run-9", [GOOD], hour=-2)
    ),
    "a life that was uploaded": lambda store: upload(store, lives_table([failed(LOT, "001", 7)])),
    "another specification": lambda store: assign(store, approved(store, "CC25-B")),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_a_fact_that_can_change_a_life_changes_the_key(
    told: Store, change: Callable[[Store], Any]
) -> None:
    before = lives_key(told)
    change(told)
    assert lives_key(told) != before


# What does not -------------------------------------------------------------------------------


def _other_lot(store: Store) -> None:
    add_rows(store, run_rows("901", "run-8", [GOOD], lot_number=OTHER_LOT, station_no=2))
    inspect(store, "901", "I-9", lot_number=OTHER_LOT)


NO_CHANGES: dict[str, Callable[[Store], Any]] = {
    "nothing": lambda store: None,
    "the same rows in another encoding": lambda store: add_rows(store, runs(), compression="gzip"),
    "some of the rows again": lambda store: add_rows(store, runs()[2:7]),
    "another rig's event": lambda store: happen(store, "E-2", rig_id="RIG-B"),
    "another rig's settings": lambda store: set_rig(store, "RIG-B", time_zone="Europe/Berlin"),
    "rows and an inspection of another lot": _other_lot,
    "another lot's life": lambda store: upload(store, lives_table(run_outs(OTHER_LOT, ["001"]))),
    "another specification that nobody assigned": lambda store: approved(store, "CC25-B"),
}


@pytest.mark.parametrize("change", NO_CHANGES.values(), ids=NO_CHANGES)
def test_what_can_change_no_life_leaves_the_key(
    told: Store, change: Callable[[Store], Any]
) -> None:
    before, lives_before = lives_key(told), lives(told)
    change(told)
    assert lives_key(told) == before
    assert lives(told) == lives_before


def test_equal_facts_in_another_store_give_the_equal_key(told: Store, tmp_path: Path) -> None:
    other = open_store(tmp_path / "other")
    tell(other)
    assert lives_key(other) == lives_key(told)
    other.close()


def test_keeping_or_losing_answers_leaves_the_key(told: Store) -> None:
    before = lives_key(told)
    reading = reading_of(told)
    told.write_now(lambda db: lives_of(db, reading, keep=True))
    assert lives_key(told) == before
    told.write_now(memos.forget_all)
    assert lives_key(told) == before


# Clocks --------------------------------------------------------------------------------------


def other_rows(hour: float, station_no: int, run_id: str) -> Rows:
    columns: dict[str, Any] = {"lot_number": OTHER_LOT, "station_no": station_no}
    return run_rows("901", run_id, [GOOD], hour=hour, **columns)


def test_another_lot_on_the_rig_changes_the_key_only_when_a_unit_falls_silent(
    told: Store,
) -> None:
    # The specification takes silence for 48 hours; unit 001 was last seen at hour 0, 002 at 1.
    keys = [lives_key(told)]
    for hour in (1.5, 30, 47.9, 48.5, 48.9, 49.5, 300):
        add_rows(told, other_rows(hour, 2, f"run-{hour}"))
        keys.append(lives_key(told))
    at_start, *after = keys
    assert after[:3] == [at_start] * 3
    assert after[3] != at_start and after[4] == after[3]
    assert after[5] not in (at_start, after[3]) and after[6] == after[5]


def test_another_lot_on_the_rig_changes_the_key_when_it_takes_over_the_station(
    told: Store,
) -> None:
    before = lives_key(told)
    add_rows(told, other_rows(0.5, 1, "run-7"))
    assert lives_key(told) == before
    add_rows(told, other_rows(2, 1, "run-8"))
    taken_over = lives_key(told)
    assert taken_over != before
    add_rows(told, other_rows(3, 1, "run-9"))
    assert lives_key(told) == taken_over


# Lives ---------------------------------------------------------------------------------------


def test_lives_are_those_of_the_rows_under_the_lots_specification(told: Store) -> None:
    # 001 ran GOOD, LOW, GOOD, GOOD; 002 ran five good cycles.
    found = {
        life.unit_serial: (life.totals.counted_cycles, life.totals.not_counted_by)
        for life in lives(told)
    }
    assert found == {"001": (3, {"UNDER_PRESSURE": 1}), "002": (5, {})}


def test_lives_are_kept_when_asked_and_then_read_and_not_computed(told: Store) -> None:
    reading = reading_of(told)
    computed = told.read_now(lambda db: lives_of(db, reading, keep=False))
    assert rows_of(told, "SELECT count(*) FROM lot_lives") == [(0,)]
    assert told.write_now(lambda db: lives_of(db, reading, keep=True)) == computed
    assert rows_of(told, "SELECT lives_key FROM lot_lives") == [(reading.lives_key,)]
    # Something that no computation could give shows that the kept answer is read.
    marked = [msgspec.structs.replace(life, marks=["KEPT"]) for life in computed]
    told.write_now(memos.forget_all)
    body = msgspec.json.encode(marked).decode()
    told.write_now(lambda db: memos.keep_lives(db, reading.facts.lot_key, reading.lives_key, body))
    assert lives(told) == marked
    add_rows(told, run_rows("001", "run-3", [GOOD], hour=0.5))
    assert [life.marks for life in lives(told)] != [["KEPT"], ["KEPT"]]


def test_one_answer_a_lot_is_kept(told: Store) -> None:
    for hour in (2, 3):
        reading = reading_of(told)
        told.write_now(lambda db, reading=reading: lives_of(db, reading, keep=True))
        add_rows(told, run_rows("001", f"run-{hour}", [GOOD], hour=hour))
    assert rows_of(told, "SELECT lot_key FROM lot_lives") == [(lot_key_of(told),)]


# Which specification -------------------------------------------------------------------------


def test_a_lot_without_a_specification_is_read_under_one_that_refuses_nothing(
    store: Store,
) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD, LOW, HIGH]))
    reading = reading_of(store)
    assert (reading.version, reading.spec, reading.is_what_if) == (None, permissive_spec(), False)
    [life] = lives(store)
    assert life.totals.counted_cycles == 3


def test_a_what_if_names_another_version_than_the_lots_own(told: Store) -> None:
    own = reading_of(told)
    assert own.version is not None and (own.version.spec_id, own.is_what_if) == ("CC25-A", False)
    plan = attribute_spec()["plan"] | {"unit_count": 9}
    second = approved(told, plan=plan)
    assert (second.spec_id, second.version) == ("CC25-A", 2)
    approved(told, "CC25-B")
    for choice, named, is_what_if in (
        ("CC25-A:1", ("CC25-A", 1), False),
        ("CC25-A:2", ("CC25-A", 2), True),
        ("CC25-A", ("CC25-A", 2), True),
        ("CC25-B", ("CC25-B", 1), True),
    ):
        reading = reading_of(told, choice)
        assert reading.version is not None
        assert (reading.version.spec_id, reading.version.version) == named
        assert reading.is_what_if is is_what_if
        assert (reading.lives_key == own.lives_key) is (not is_what_if)


def test_under_any_specification_a_lot_without_one_is_a_what_if(store: Store) -> None:
    add_rows(store, runs())
    approved(store)
    assert reading_of(store, "CC25-A").is_what_if


@pytest.mark.parametrize("choice", ["CC25-Z", "CC25-A:7", "CC25-Z:1"])
def test_a_what_if_must_name_something_that_is_there(told: Store, choice: str) -> None:
    with pytest.raises(NotFound):
        reading_of(told, choice)


def test_a_lot_must_be_there(store: Store) -> None:
    with pytest.raises(NotFound, match="lot_nowhere"):
        store.read_now(lambda db: read_lot(db, "lot_nowhere"))
