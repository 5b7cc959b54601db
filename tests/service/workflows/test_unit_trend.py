"""The trend of one unit out of a store: its own rows alone, under its lot's specification."""

from __future__ import annotations

import numpy as np
import pytest
from leak_tables import LOT, SHORT_ONSET, file_of, leaking_decay, onset_spec, run_table
from lots_by_hand import approved, assign, lot_id_of
from msgspec import UNSET
from uploads_by_hand import upload

from schemas.trends import UnitTrend
from service.errors import NotFound
from service.storage.store import Store
from service.workflows.reduce_lot import lives_of, read_lot
from service.workflows.unit_trend import read_trend

SOUND = leaking_decay(4_000, onset=np.inf, growth_mpa_per_1000=0.0)


@pytest.fixture
def told(store: Store) -> Store:
    """Two units of one lot: 4,000 cycles in two runs, and 700 on another station."""
    upload(
        store,
        file_of(
            run_table("U-001", SOUND[:2_500], stop="GUARD"),
            run_table("U-001", SOUND[2_500:], run_id="run-2", hours=5),
            run_table("U-002", SOUND[:700], run_id="run-3", station=2),
        ),
    )
    return store


def trend(store: Store, serial: str = "U-001", most: int | None = None) -> UnitTrend:
    lot_id = lot_id_of(store, LOT)
    lives = store.read_now(lambda db: lives_of(db, read_lot(db, lot_id), keep=False))
    unit_id = next(each.unit_id for each in lives if each.unit_serial == serial)
    return store.read_now(lambda db: read_trend(db, unit_id, most))


def test_without_a_specification_blocks_are_of_a_standard_length(told: Store) -> None:
    found = trend(told)
    assert (found.block_cycles, found.block_count, len(found.points)) == (100, 40, 40)
    assert (found.spec, found.onset, found.decay_limit_mpa) == (UNSET, UNSET, UNSET)
    assert [found.points[n].first.run_id for n in (24, 25)] == ["run-1", "run-2"]
    assert sum(each.left_out_count for each in found.points) == 0


def test_another_units_rows_are_no_part_of_it(told: Store) -> None:
    found = trend(told, "U-002")
    assert (found.block_count, {each.first.station_no for each in found.points}) == (7, {2})


def test_the_specification_says_the_length_the_mask_and_the_limit(told: Store) -> None:
    onset = SHORT_ONSET | {"block_cycles": 50, "baseline_blocks": [2, 42]}
    body = onset_spec("CC25-ONSET", target=10_000, units=22, onset=onset, fails=False)
    version = approved(told, "CC25-ONSET", **{n: v for n, v in body.items() if n != "spec_id"})
    assign(told, version, lot_number=LOT)
    found = trend(told)
    assert (found.block_cycles, found.block_count) == (50, 80)
    assert found.decay_limit_mpa == 0.6
    assert found.dead_band_mpa == 0.015
    # Blocks of 50 that begin with cycles 1 to 251 of each run: six of them.
    assert sum(each.left_out_count for each in found.points) == 12
    assert found.spec is not UNSET
    assert found.spec.hash == version.hash
    assert found.onset is not UNSET
    assert found.onset.state == "NO_ONSET"


def test_fewer_points_cover_the_same_cycles(told: Store) -> None:
    found = trend(told, most=9)
    assert len(found.points) == 8
    assert (found.points[0].first_counted, found.points[-1].last_counted) == (1, 4_000)


def test_an_unknown_unit_has_no_trend(told: Store) -> None:
    with pytest.raises(NotFound):
        told.read_now(lambda db: read_trend(db, "unit_nowhere", None))
