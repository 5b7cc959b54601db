"""Which lots, units and places a change speaks of."""

from __future__ import annotations

from typing import Any

import pytest
from bodies import lives_table, run_outs
from lots_by_hand import GOOD, LOT, add_rows, at, lot_key_of, run_rows
from uploads_by_hand import upload

from schemas.corrections import CorrectionScope
from service.storage import touched
from service.storage.store import Store
from service.storage.touched import WrittenRows

OTHER = "CC25-0118"


@pytest.fixture
def upload_id(store: Store) -> str:
    """Two units of one lot and one of another, on three runs of RIG-A."""
    rows = run_rows("001", "run-1", [GOOD] * 5)
    rows += run_rows("002", "run-2", [GOOD] * 5, station_no=2)
    rows += run_rows("001", "run-3", [GOOD] * 5, hour=4, lot_number=OTHER)
    return add_rows(store, rows).upload_id


def places(store: Store, *units: tuple[str, str | None], **scope: Any) -> list[str]:
    """Runs of the places found."""
    asked = WrittenRows(units=list(units), scope=CorrectionScope(**scope))
    return [run for _, run, _ in store.read_now(lambda db: touched.places_of_units(db, asked))]


def test_rows_are_found_by_unit_and_scope(store: Store, upload_id: str) -> None:
    assert places(store, (LOT, "001")) == ["run-1"]
    assert places(store, (LOT, None)) == ["run-1", "run-2"]
    assert places(store, (LOT, "001"), (OTHER, "001")) == ["run-1", "run-3"]
    for scope, found in (
        ({"upload_id": upload_id, "rig_id": "RIG-A"}, ["run-1", "run-2"]),
        ({"upload_id": "up_none"}, []),
        ({"run_id": "run-2"}, ["run-2"]),
        ({"station_no": 2}, ["run-2"]),
        ({"first_cycle_in_run": 6}, []),
        ({"last_cycle_in_run": 0}, []),
        ({"started_from": at(1)}, []),
        ({"started_before": at(0)}, []),
    ):
        assert places(store, (LOT, None), **scope) == found


def test_lots_and_units_at_places(store: Store, upload_id: str) -> None:
    found = store.read_now(
        lambda db: touched.places_of_units(
            db, WrittenRows(units=[(LOT, None), (OTHER, None)], scope=CorrectionScope())
        )
    )
    assert store.read_now(lambda db: touched.lots_at(db, found)) == {
        lot_key_of(store),
        lot_key_of(store, OTHER),
    }
    assert store.read_now(lambda db: touched.units_at(db, found[:1])) == {(LOT, "001")}
    assert store.read_now(lambda db: touched.lots_at(db, [])) == set()
    assert store.read_now(lambda db: touched.units_at(db, [])) == set()
    assert store.read_now(lambda db: touched.lots_numbered(db, [LOT, "none"])) == {
        lot_key_of(store)
    }
    assert store.read_now(lambda db: touched.units_of_rows(db, 1)) == {
        (LOT, "001"),
        (LOT, "002"),
        (OTHER, "001"),
    }


def test_uploaded_lives_are_found_by_unit(store: Store) -> None:
    upload(store, lives_table(run_outs(LOT, ["001"])))
    assert store.read_now(lambda db: touched.units_of_lives(db, 1)) == {(LOT, "001")}
    assert store.read_now(lambda db: touched.has_lives(db, [(LOT, None)]))
    assert not store.read_now(lambda db: touched.has_lives(db, [(LOT, "002")]))
