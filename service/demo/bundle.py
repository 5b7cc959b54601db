"""A lot as a folder: its Parquet files, what the service must be told, and the truth."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec

from service.demo.facts import LotFacts, LotPlan, SensorError
from service.demo.files import WrittenFile, write_lot_files, write_one_file
from service.demo.lots import repeated
from service.demo.scenario import PART_NUMBER, rig_settings, sensor_name, spec
from service.demo.timetable import plan_lot
from service.demo.truth import lot_truth


class LotBundle(msgspec.Struct, frozen=True, kw_only=True):
    """What was written: the timetable and the files in the order of sending."""

    plan: LotPlan
    folder: Path
    files: tuple[WrittenFile, ...]


def write_bundle(
    facts: LotFacts, folder: Path, *, scale: float, said: Callable[[WrittenFile], None]
) -> LotBundle:
    """
    Write a lot at one scale.

    Parameters
    ----------
    facts : LotFacts
        The lot.
    folder : Path
        Made if it does not exist. It gets the Parquet files, ``setup.json``
        (specification, sample, rigs), ``events.json`` (inspections, rig
        events, calibrations found out later) and ``truth.json``.
    scale : float, 0.05 to 100, keyword only
        Length of the test; 1.0 is the full one.
    said : callable, keyword only
        Called with every file as soon as it is complete.

    Returns
    -------
    LotBundle
    """
    plan = plan_lot(facts, scale=scale)
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    for file in write_lot_files(plan, folder):
        said(file)
        files.append(file)
    return _described(LotBundle(plan=plan, folder=folder, files=tuple(files)))


def write_large_bundle(facts: LotFacts, folder: Path, *, scale: float, row_count: int) -> LotBundle:
    """
    Write one file of at least `row_count` rows: the lot's units over and over.

    Parameters
    ----------
    facts : LotFacts
        The lot whose units are repeated, under new serials.
    folder : Path
        As for `write_bundle`.
    scale : float, 0.05 to 100, keyword only
        Length of each unit's test.
    row_count : int, 1 or more, keyword only
        The file has the fewest whole units that reach it.

    Returns
    -------
    LotBundle
    """
    plan = _plan_of_rows(facts, scale=scale, row_count=row_count)
    folder.mkdir(parents=True, exist_ok=True)
    file = write_one_file(plan, folder / f"{facts.lot_number}_rows.parquet")
    return _described(LotBundle(plan=plan, folder=folder, files=(file,)))


def setup_of(plan: LotPlan) -> dict[str, Any]:
    """What the service must be told before the first row: specification, sample, rigs."""
    facts = plan.facts
    specification = spec(facts.spec_id, scale=plan.scale, unit_count=len(facts.units))
    rigs = rig_settings()
    return {
        "part_number": PART_NUMBER,
        "specs": [specification],
        "lots": [
            {
                "lot_number": facts.lot_number,
                "spec_id": facts.spec_id,
                "units": [
                    {"unit_serial": unit.unit_serial, "component_batch": unit.component_batch}
                    for unit in facts.units
                ],
            }
        ],
        "rigs": {rig_id: rigs[rig_id] for rig_id in dict.fromkeys(u.rig_id for u in facts.units)},
    }


def events_of(plan: LotPlan) -> dict[str, Any]:
    """
    Records beside the rows, ready to be posted: inspections, rig events, calibrations.

    A calibration is found out after the test: it is posted after everything else.
    """
    inspections = [record for unit in plan.units for record in unit.inspections]
    inspections.sort(key=lambda record: record.inspected_at)
    return {
        "inspections": [msgspec.to_builtins(record) for record in inspections],
        "rig_events": [msgspec.to_builtins(record) for record in plan.rig_events],
        "calibrations": calibrations_of(plan.facts),
    }


def calibrations_of(facts: LotFacts) -> list[dict[str, Any]]:
    """What was found out of sensors after a lot's test, as ``POST /v1/calibrations`` takes it."""
    return [_calibration(facts, error) for error in facts.sensor_errors]


def _calibration(facts: LotFacts, error: SensorError) -> dict[str, Any]:
    sensor_id = sensor_name(error.rig_id, error.station_no)
    return {
        "calibration_key": f"{facts.lot_number}-{sensor_id}-recalibrated",
        "sensor_id": sensor_id,
        "from_at": error.from_at,
        "to_at": error.found_at,
        "gain": error.gain,
        "offset_mpa": error.offset_mpa,
        "found_at": error.found_at,
        "reason": error.reason,
    }


def _plan_of_rows(facts: LotFacts, *, scale: float, row_count: int) -> LotPlan:
    """The plan of as many repeated units as `row_count` needs."""
    one_round = plan_lot(repeated(facts, len(facts.units)), scale=scale)
    mean_rows = one_round.row_count / len(facts.units)
    unit_count = max(1, int(row_count / mean_rows))
    plan = plan_lot(repeated(facts, unit_count), scale=scale)
    while plan.row_count < row_count:
        unit_count += 1
        plan = plan_lot(repeated(facts, unit_count), scale=scale)
    return plan


def _described(bundle: LotBundle) -> LotBundle:
    """Write the three descriptions beside the Parquet files."""
    contents = {
        "setup.json": setup_of(bundle.plan),
        "events.json": events_of(bundle.plan),
        "truth.json": lot_truth(bundle.plan, bundle.files),
    }
    for name, content in contents.items():
        pretty = msgspec.json.format(msgspec.json.encode(content), indent=1)
        (bundle.folder / name).write_bytes(pretty + b"\n")
    return bundle
