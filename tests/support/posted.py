"""Scenario and demo folders posted to a running service."""

from typing import Any

import msgspec
from scenario_files import Scenario
from service_client import ServiceClient

from service.demo.bundle import LotBundle, events_of, setup_of


def tell_scenario(client: ServiceClient, scenario: Scenario) -> dict[str, str]:
    """Rigs, approved specifications, lots with samples and assignments; lot ids by number."""
    for rig_id, settings in scenario.rigs().items():
        client.rig(rig_id, settings)
    for spec in scenario.specs():
        client.approved_spec(spec)
    lots = {}
    for lot in scenario.setup["lots"]:
        lot_id = client.lot(lot["lot_number"], scenario.setup["part_number"])["lot_id"]
        client.sample(lot_id, lot["units"])
        client.assign(lot_id, lot["spec_id"])
        lots[lot["lot_number"]] = lot_id
    return lots


def post_events(client: ServiceClient, events: dict[str, Any]) -> None:
    """Inspections and rig events as a scenario's `events.json` holds them."""
    for event in events.get("rig_events", []):
        client.rig_event(event)
    for inspection in events.get("inspections", []):
        client.inspection(inspection)


def lives_of(client: ServiceClient, lot_id: str) -> list[dict[str, Any]]:
    """Lives of a lot's units, by serial."""
    units = client.read_all(f"/v1/lots/{lot_id}/units")
    lives = [client.read(f"/v1/units/{unit['unit_id']}/life") for unit in units]
    return sorted(lives, key=lambda life: str(life["unit_serial"]))


def post_demo_lot(client: ServiceClient, bundle: LotBundle) -> str:
    """A demo lot as the demo posts it: what counts, the sample, the records, the rows."""
    setup = setup_of(bundle.plan)
    for rig_id, settings in setup["rigs"].items():
        client.rig(rig_id, _plain(settings))
    for spec in setup["specs"]:
        client.approved_spec(_plain(spec))
    (lot,) = setup["lots"]
    lot_id = str(client.lot(lot["lot_number"], setup["part_number"])["lot_id"])
    client.post(f"/v1/lots/{lot_id}/units", {"units": lot["units"]}).raise_for_status()
    client.assign(lot_id, lot["spec_id"])
    # Records wait for their rows; a lot that has rows is worked out again at every record.
    post_events(client, _plain(events_of(bundle.plan)))
    for file in bundle.files:
        client.upload((bundle.folder / file.name).read_bytes())
    return lot_id


def _plain(value: Any) -> Any:
    """The value as JSON would carry it: instants as text."""
    return msgspec.json.decode(msgspec.json.encode(value))
