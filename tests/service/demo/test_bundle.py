"""A lot as a folder: everything the service must be told, in the form it takes."""

import json
import time
from pathlib import Path

import msgspec
import pytest

from schemas.calibrations import NewCalibration
from schemas.lots import NewInspection, NewRigEvent, NewUnits, RigSettings
from schemas.specs import Spec
from service.demo.bundle import LotBundle, write_bundle, write_large_bundle
from service.demo.lots import DEMO_LOTS, lot


@pytest.mark.parametrize("number", DEMO_LOTS)
def test_setup_and_events_are_bodies_that_the_service_takes(
    number: str, demo_lots: dict[str, LotBundle]
) -> None:
    folder = demo_lots[number].folder
    setup = json.loads((folder / "setup.json").read_text())
    (spec,) = setup["specs"]
    assert msgspec.convert(spec, Spec).spec_id == setup["lots"][0]["spec_id"]
    units = msgspec.convert({"units": setup["lots"][0]["units"]}, NewUnits)
    assert len(units.units) == spec["plan"]["unit_count"]
    for settings in setup["rigs"].values():
        msgspec.convert(settings, RigSettings)
    events = json.loads((folder / "events.json").read_text())
    inspections = msgspec.convert(events["inspections"], list[NewInspection])
    rig_events = msgspec.convert(events["rig_events"], list[NewRigEvent])
    keys = [record.inspection_key for record in inspections]
    assert len(set(keys)) == len(keys)
    assert len({event.event_key for event in rig_events}) == len(rig_events)
    found = {record.failure_mode for record in inspections if record.leak_class == 4}
    assert found == ({"ROD_SEAL_LEAK", "GAUGE_PORT_LEAK"} if number == "L07" else set())
    assert all(record.leak_class in {0, 1, 4} for record in inspections)
    calibrations = msgspec.convert(events["calibrations"], list[NewCalibration])
    assert len(calibrations) == (1 if number == "L05" else 0)


def test_all_lots_are_written_well_within_twenty_seconds(tmp_path: Path) -> None:
    started = time.perf_counter()
    for number in DEMO_LOTS:
        write_bundle(lot(number), tmp_path / number, scale=0.05, said=lambda file: None)
    assert time.perf_counter() - started < 20


def test_the_same_lot_written_twice_is_the_same_bytes(tmp_path: Path) -> None:
    for folder in ("one", "two"):
        write_bundle(lot("L06"), tmp_path / folder, scale=0.05, said=lambda file: None)
    first = {path.name: path.read_bytes() for path in (tmp_path / "one").iterdir()}
    second = {path.name: path.read_bytes() for path in (tmp_path / "two").iterdir()}
    assert first == second


def test_a_large_file_has_the_fewest_units_that_reach_its_rows(tmp_path: Path) -> None:
    bundle = write_large_bundle(lot("L01"), tmp_path, scale=0.05, row_count=50_000)
    assert len(bundle.files) == 1
    assert 50_000 <= bundle.files[0].row_count < 50_000 + 10_500
    setup = json.loads((tmp_path / "setup.json").read_text())
    assert setup["specs"][0]["plan"]["unit_count"] == len(bundle.plan.units)
