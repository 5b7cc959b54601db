"""The uncertainty of a stretch is the largest of its sensors', and known only throughout."""

from __future__ import annotations

from edge_lots import state_uncertainty
from lots_by_hand import GOOD, add_rows, at, lot_id_of, run_rows, set_rig

from service.storage.store import Store
from service.workflows.reduce_lot import read_lot


def uncertainties(store: Store) -> dict[str, float]:
    """By run."""
    lot_id = lot_id_of(store)
    facts = store.read_now(lambda db: read_lot(db, lot_id)).facts
    runs = {each.stretch_key: each.run_id for each in facts.stretches}
    return {runs[key]: value for key, value in facts.uncertainties.items()}


def test_rows_take_that_of_the_sensor_that_they_name(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3, sensor_id="PT-1"))
    add_rows(store, run_rows("001", "run-2", [GOOD] * 3, hour=1, sensor_id="PT-2"))
    state_uncertainty(store, 0.2, 1)
    assert uncertainties(store) == {"run-1": 0.2}


def test_rows_that_name_none_take_that_of_the_stations_only_sensor(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3))
    state_uncertainty(store, 0.2, 1)
    assert uncertainties(store) == {}
    sensor = {"sensor_id": "PT-1", "full_scale_mpa": 60.0, "station_no": 1}
    set_rig(store, sensors=[sensor])
    assert uncertainties(store) == {"run-1": 0.2}
    set_rig(store, sensors=[sensor, sensor | {"sensor_id": "PT-9"}])
    assert uncertainties(store) == {}


def test_of_two_times_the_larger_one_holds_for_the_stretch(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 10, sensor_id="PT-1"))
    state_uncertainty(store, 0.2, 1, to_at=at(cycles=5))
    assert uncertainties(store) == {}
    state_uncertainty(store, 0.3, 1, key="REST", from_at=at(cycles=5))
    assert uncertainties(store) == {"run-1": 0.3}


def test_one_row_outside_the_time_is_enough_not_to_know(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 10, sensor_id="PT-1"))
    # Cycle 10 starts at the end of the time, which is not part of it.
    state_uncertainty(store, 0.2, 1, to_at=at(cycles=10))
    assert uncertainties(store) == {}
    state_uncertainty(store, 0.2, 1, key="LONGER", to_at=at(cycles=11))
    assert uncertainties(store) == {"run-1": 0.2}


def test_a_sensor_that_was_off_keeps_its_uncertainty(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3, sensor_id="PT-1"))
    state_uncertainty(store, 0.2, 1, gain=1.02)
    assert uncertainties(store) == {"run-1": 0.2}
