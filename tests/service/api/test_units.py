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
    for path in ("", "/life", "/runs", "/trend", "/cycles"):
        problem(service.get(f"/v1/units/unit_nowhere{path}"), 404, "not-found")


def test_its_trend_is_told_in_blocks(service: ServiceClient, unit_id: str) -> None:
    trend = service.read(f"/v1/units/{unit_id}/trend?points=2")
    # Two runs of 2 counted cycles each: a block ends with its stretch.
    assert [(each["first_counted"], each["last_counted"]) for each in trend["points"]] == [
        (1, 2),
        (3, 4),
    ]
    assert trend["points"][0]["pressure_peak_mpa"]["median"] == GOOD
    assert "pressure_decay_mpa" not in trend["points"][0]
    for points in ("0", "20001", "many"):
        problem(service.get(f"/v1/units/{unit_id}/trend?points={points}"), 400, "invalid-request")


def test_its_raw_rows_come_in_the_order_in_which_the_cycles_started(
    service: ServiceClient, unit_id: str
) -> None:
    found = service.read_all(f"/v1/units/{unit_id}/cycles?limit=2")
    assert [(row["run_id"], row["cycle_in_run"], row["pressure_peak_mpa"]) for row in found] == [
        ("run-1", 1, GOOD),
        ("run-2", 1, GOOD),
        ("run-1", 2, SHORT),
        ("run-2", 2, GOOD),
        ("run-1", 3, GOOD),
    ]
    assert found == sorted(found, key=lambda row: row["started_at"])
    assert "rise_time_s" not in found[0]


def test_raw_rows_can_be_asked_for_by_when_they_started(
    service: ServiceClient, unit_id: str
) -> None:
    path = f"/v1/units/{unit_id}/cycles"
    rows = service.read_all(path)
    start, end = rows[2]["started_at"], rows[4]["started_at"]
    assert service.read_all(f"{path}?from={start}&to={end}") == rows[2:4]
    problem(service.get(f"{path}?from=yesterday"), 400, "invalid-request")
    problem(service.get(f"{path}?from=2026-01-01T00:00:00"), 400, "invalid-request")


def test_rows_that_contradict_each_other_are_both_shown(service: ServiceClient) -> None:
    first = cycle_rows("UNIT-2", "001", "run-1", [GOOD, GOOD])
    service.upload(cycle_table(first))
    other = cycle_rows("UNIT-2", "001", "run-1", [GOOD, SHORT])
    service.upload(cycle_table(other))
    [lot] = service.read("/v1/lots?lot_number=UNIT-2")["items"]
    [unit] = service.read(f"/v1/lots/{lot['lot_id']}/units")["items"]
    rows = service.read_all(f"/v1/units/{unit['unit_id']}/cycles?limit=1")
    assert [
        (row["cycle_in_run"], row["pressure_peak_mpa"], row.get("conflicting", False))
        for row in rows
    ] == [(1, GOOD, False), (2, GOOD, False), (2, SHORT, True)]


def test_a_cursor_of_another_list_is_refused(service: ServiceClient, unit_id: str) -> None:
    page = service.read(f"/v1/units/{unit_id}/runs?limit=1")
    cursor = page["next"].partition("cursor=")[2]
    answer = service.get(f"/v1/units/{unit_id}/cycles?cursor={cursor}")
    assert problem(answer, 400, "invalid-request")["errors"][0]["code"] == "INVALID_CURSOR"
