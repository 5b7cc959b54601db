"""Rows are judged alike where the same is known of their sensors."""

from __future__ import annotations

from edge_lots import state_uncertainty
from lots_by_hand import GOOD, add_rows, lot_id_of, run_rows, set_rig

from service.storage.store import Store
from service.workflows.reduce_lot import read_lot
from service.workflows.sensing import UNKNOWN_SENSING, Sensing, sensing_of


def test_what_rig_and_calibrations_say_of_a_sensor_is_told_together(store: Store) -> None:
    for number in (1, 2, 3):
        sensor, run = f"PT-{number}", f"run-{number}"
        rows = run_rows("001", run, [GOOD] * 3, hour=number, station_no=number, sensor_id=sensor)
        add_rows(store, rows)
    set_rig(store, sensors=[{"sensor_id": "PT-1", "full_scale_mpa": 60.0, "station_no": 1}])
    state_uncertainty(store, 0.2, 1)
    state_uncertainty(store, None, 2, gain=1.06)
    lot_id = lot_id_of(store)
    facts = store.read_now(lambda db: read_lot(db, lot_id)).facts
    found = {
        each.station_no: sensing_of(facts, each.stretch_key, each.rig_id, each.station_no)
        for each in facts.stretches
    }
    assert found == {
        1: Sensing(full_scale_mpa=60.0, uncertainty_mpa=0.2),
        2: Sensing(is_off=True),
        3: UNKNOWN_SENSING,
    }
