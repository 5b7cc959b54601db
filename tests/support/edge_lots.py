"""A lot of six units to 1,000 cycles, one of them partly near the upper edge of the band.

Units 1 to 6 stand on stations 1 to 6 of RIG-A; every row names its sensor, PT-1 to PT-6.
The band is 31.59 to 34.91 MPa.
"""

from __future__ import annotations

from typing import Any

import msgspec
from bodies import attribute_spec
from lots_by_hand import GOOD, add_rows, approved, assign, at, lot_id_of, register, run_rows
from stores import stamp

from schemas.calibrations import NewCalibration
from schemas.decisions import Evaluation
from service.storage import calibrations
from service.storage.store import Store
from service.workflows.evaluate_lot import evaluate

NEAR = 34.80
"""Counts as it is read, and lies within 0.2 MPa of the upper edge."""
NEAR_CYCLES = 20
PLANNED = 1000


def conditions(rule: str | None = None, **others: Any) -> dict[str, Any]:
    said = {} if rule is None else {"edge_rule": rule}
    return attribute_spec()["conditions"] | said | others


def six_units(store: Store, *, near: int = NEAR_CYCLES, peak: float = NEAR, **spec: Any) -> None:
    """Register the lot under a specification and post every unit's 1,000 cycles."""
    register(store)
    assign(store, approved(store, **spec))
    for number in range(1, 7):
        of_unit = near if number == 6 else 0
        peaks = [peak] * of_unit + [GOOD] * (PLANNED - of_unit)
        add_rows(
            store,
            run_rows(
                f"00{number}",
                f"run-{number}",
                peaks,
                station_no=number,
                sensor_id=f"PT-{number}",
                stop_reason="TARGET_REACHED",
            ),
        )


def state_uncertainty(
    store: Store, uncertainty_mpa: float | None, *sensors: int, key: str = "K", **said: Any
) -> None:
    """Record good checks of some sensors (of all six without any) over the time of the rows."""
    for number in sensors or range(1, 7):
        content = {
            "calibration_key": f"{key}-{number}",
            "sensor_id": f"PT-{number}",
            "from_at": at(-24),
            "to_at": at(24),
            "found_at": at(24),
            "gain": 1.0,
            "offset_mpa": 0.0,
            "reason": "yearly check",
            "pressure_uncertainty_mpa": uncertainty_mpa,
        }
        record = msgspec.convert(content | said, NewCalibration)
        store.write_now(
            lambda db, r=record: calibrations.add_calibration(db, r, stamp(len(key)))  # type: ignore[misc]
        )


def evaluation_of(store: Store, spec_choice: str | None = None) -> Evaluation:
    lot_id = lot_id_of(store)
    return store.read_now(lambda db: evaluate(db, lot_id, spec_choice))
