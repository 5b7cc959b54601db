"""A unit, its stretches and its life over HTTP."""

import pytest
from answers import problem
from bodies import attribute_spec, cycle_rows, cycle_table
from service_client import ServiceClient

GOOD, SHORT = 33.0, 20.0


@pytest.fixture(scope="module")
def unit_id(service: ServiceClient) -> str:
    """A unit that ran 3 + 2 cycles, one of the first run short of pressure."""
    service.approved_spec(attribute_spec("U-1"))
    lot_id = service.lot("UNIT-1")["lot_id"]
    service.assign(lot_id, "U-1")
    rows = cycle_rows("UNIT-1", "001", "run-1", [GOOD, SHORT, GOOD])
    service.upload(cycle_table(rows + cycle_rows("UNIT-1", "001", "run-2", [GOOD, GOOD])))
    [unit] = service.read(f"/v1/lots/{lot_id}/units")["items"]
    return str(unit["unit_id"])


def test_a_unit_says_where_it_belongs(service: ServiceClient, unit_id: str) -> None:
    unit = service.read(f"/v1/units/{unit_id}")
    assert (unit["lot_number"], unit["unit_serial"], unit["listed"]) == ("UNIT-1", "001", False)


def test_its_life_counts_what_meets_the_specification(service: ServiceClient, unit_id: str) -> None:
    life = service.read(f"/v1/units/{unit_id}/life")
    assert life["totals"]["logged_cycles"] == 5
    assert life["totals"]["counted_cycles"] == 4
    assert life["totals"]["not_counted_by"] == {"UNDER_PRESSURE": 1}


def test_its_stretches_are_listed_page_by_page(service: ServiceClient, unit_id: str) -> None:
    found = service.read_all(f"/v1/units/{unit_id}/runs?limit=1")
    assert [(each["run_id"], each["logged_cycles"], each["counted_cycles"]) for each in found] == [
        ("run-1", 3, 2),
        ("run-2", 2, 2),
    ]
    assert found == service.read(f"/v1/units/{unit_id}/life")["stretches"]


def test_an_unknown_unit_is_not_found(service: ServiceClient) -> None:
    for path in ("", "/life", "/runs"):
        problem(service.get(f"/v1/units/unit_nowhere{path}"), 404, "not-found")
