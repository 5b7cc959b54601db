"""Rules that turn rows and records into lives, through HTTP, with lives counted by hand.

The rules are the project's own, named in each test by what they say: common practice where
they have no published source. Each lot has two sound units and the one that is asked about.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pytest
import twelve_units as lot
from bodies import inspection
from posted import lives_of
from service_client import ServiceClient, running_service
from twelve_units import file_of, leaking_from, run, told

OVER, SOUND = 32.2, 32.94
"""Dwell ends, in MPa, that make a decay of 0.8 (over the limit of 0.6) and of 0.06."""
LEAKS = {"modes": [lot.SEAL_DECAY, lot.ROD_LEAK]}
FUNCTIONS = {
    "modes": [
        lot.SEAL_DECAY,
        lot.ROD_LEAK,
        lot.ROD_LEAK | {"name": "SPRING_FRACTURE", "seen_as": "FUNCTION"},
    ]
}
AVERAGE = {"persistence": {"rule": "MOVING_AVERAGE", "cycles": 3}}


@pytest.fixture
def client(tmp_path: Path) -> Iterator[ServiceClient]:
    with running_service(tmp_path) as started:
        yield started


def life(client: ServiceClient, lot_id: str, serial: str = "U12") -> dict[str, Any]:
    return next(each for each in lives_of(client, lot_id) if each["unit_serial"] == serial)


def ending(found: dict[str, Any]) -> tuple[Any, ...]:
    names = ("ending", "cycles", "cycles_low", "cycles_high", "credited_cycles")
    return tuple(found.get(name) for name in names)


def inspect(client: ServiceClient, key: str, counter: int | None, **changes: Any) -> None:
    """A look at the unit after a cycle of its first run; without a counter, before its first."""
    after = {"rig_id": "RIG-B", "run_id": "run-U12", "cycle_in_run": counter}
    place = {} if counter is None else {"after": after}
    client.inspection(inspection(key, lot.LOT, "U12", **{"purpose": "SCHEDULED"} | place | changes))


def rows_out(table: Any, first: int, last: int) -> Any:
    """A run without the rows of some counters."""
    return pa.concat_tables([table.slice(0, first - 1), table.slice(last)])


# A mean of three over stops --------------------------------------------------------------------


def two_runs(**second: Any) -> list[Any]:
    """The last two cycles before a stop and the first after it leak: 0.8 each."""
    before = run("U12", 50, run_id="run-1", stop="GUARD", **leaking_from(49, 50))
    ends = [OVER] + [SOUND] * 29
    after = {"run_id": "run-2", "hour": 2.0, "pressure_dwell_end_mpa": ends} | second
    return [before, run("U12", 30, **after)]


def test_a_moving_average_goes_on_over_a_stop(client: ServiceClient) -> None:
    lot_id = told(client, lot.spec(failure=AVERAGE), file_of(two_runs()))
    assert ending(life(client, lot_id)) == ("FAILED", 49, None, None, 49)


def test_a_move_breaks_a_moving_average(client: ServiceClient) -> None:
    lot_id = told(client, lot.spec(failure=AVERAGE), file_of(two_runs(station_no=5)))
    assert "failure" not in life(client, lot_id)


def test_missing_first_rows_break_a_moving_average(client: ServiceClient) -> None:
    lot_id = told(client, lot.spec(failure=AVERAGE), file_of(two_runs(first_counter=3)))
    assert "failure" not in life(client, lot_id)


def test_a_recalibration_breaks_a_moving_average_in_a_run_and_over_a_stop(
    client: ServiceClient,
) -> None:
    ends = [SOUND] * 20 + [OVER] * 3 + [SOUND] * 27
    named = ["K-1"] * 22 + ["K-2"] * 28
    inside = run("U11", 50, stop="GUARD", pressure_dwell_end_mpa=ends, calibration_id=named)
    before = run("U12", 50, run_id="run-1", stop="GUARD", **leaking_from(49, 50))
    before = before.append_column("calibration_id", pa.array(["K-1"] * 50))
    after = two_runs(calibration_id="K-2")[1]
    lot_id = told(client, lot.spec(failure=AVERAGE), file_of([inside, before, after]))
    # Two of the three over the limit and a sound one make no mean over it: 1.66 / 3 = 0.55.
    assert "failure" not in life(client, lot_id, "U11")
    assert "failure" not in life(client, lot_id)


def test_a_mean_of_three_is_found_in_thinned_rows(client: ServiceClient) -> None:
    table = thinned(1001, 10, **leaking_from(505, 1001))
    lot_id = told(client, lot.spec(failure=AVERAGE), file_of([table]))
    # 501 is sound; (0.06 + 0.8 + 0.8) / 3 = 0.55 is not over 0.6, 511 to 531 are: the mean may
    # have begun with the two counted rows before what was left out.
    assert ending(life(client, lot_id)) == ("FAILED_BETWEEN", None, 499, 511, 499)


# Brackets --------------------------------------------------------------------------------------


def test_rows_missing_before_a_finding_widen_its_bracket(client: ServiceClient) -> None:
    """Clean after 300; rows 401 to 500 are missing; the leak is found after 700 cycles."""
    whole = run("U12", 700, stop="SHIFT_END")
    lot_id = told(client, lot.spec(failure=LEAKS), file_of([rows_out(whole, 401, 500)]))
    inspect(client, "I-1", 300)
    inspect(client, "I-2", 700, leak_class=4)
    # 600 rows count up to the finding, and 100 more may have.
    assert ending(life(client, lot_id)) == ("FAILED_BETWEEN", None, 300, 700, 300)
    client.upload(file_of([whole.slice(400, 100)]))
    assert ending(life(client, lot_id)) == ("FAILED_BETWEEN", None, 300, 700, 300)
    assert life(client, lot_id)["totals"]["unlogged_cycles"] == 0


def test_rows_missing_before_the_last_clean_look_widen_nothing(client: ServiceClient) -> None:
    whole = run("U12", 700, stop="SHIFT_END")
    lot_id = told(client, lot.spec(failure=LEAKS), file_of([rows_out(whole, 101, 200)]))
    inspect(client, "I-1", 300)
    inspect(client, "I-2", 700, leak_class=4)
    assert ending(life(client, lot_id)) == ("FAILED_BETWEEN", None, 200, 600, 200)


def test_rows_that_end_before_the_inspections_counter_widen_its_bracket(
    client: ServiceClient,
) -> None:
    lot_id = told(client, lot.spec(failure=LEAKS), file_of([run("U12", 500, stop=None)]))
    inspect(client, "I-1", 300)
    inspect(client, "I-2", 650, leak_class=4)
    assert ending(life(client, lot_id)) == ("FAILED_BETWEEN", None, 300, 650, 300)


def test_cycles_over_the_limit_before_a_gap_may_have_begun_the_failure(
    client: ServiceClient,
) -> None:
    """Three cycles of the five leak, 100 rows are missing, then it leaks on."""
    whole = run("U12", 600, stop="GUARD", **leaking_from(398, 600))
    lot_id = told(client, lot.spec(), file_of([rows_out(whole, 401, 500)]))
    # The rows before the gap end with counters 398 to 400 over the limit.
    assert ending(life(client, lot_id)) == ("FAILED_BETWEEN", None, 397, 501, 397)
    client.upload(file_of([whole.slice(400, 100)]))
    assert ending(life(client, lot_id)) == ("FAILED", 398, None, None, 398)


# Thinned logging -------------------------------------------------------------------------------


def thinned(cycles: int, every: int, **columns: Any) -> Any:
    """A run of which only each so-many-th cycle is logged, and says so."""
    table = run("U12", cycles, stop="COUNT_MET", logged_every=every, **columns)
    counters = table["cycle_in_run"].to_numpy()
    return table.filter(pc.is_in(table["cycle_in_run"], pa.array(counters[counters % every == 1])))


def test_declared_thinning_is_credited_between_counted_neighbours(client: ServiceClient) -> None:
    lot_id = told(client, lot.spec(), file_of([thinned(1001, 10)]))
    found = life(client, lot_id)
    # 101 rows (counters 1, 11, ..., 1001) with nine cycles between each two.
    assert ending(found)[:2] == ("RUN_OUT", 1001)
    totals = found["totals"]
    assert (totals["logged_cycles"], totals["counted_cycles"]) == (101, 101)
    assert (totals["inferred_cycles"], totals["unlogged_cycles"]) == (900, 0)
    assert "ROWS_MISSING" not in found["marks"]


def test_an_uncounted_neighbour_leaves_its_thinned_cycles_unlogged(client: ServiceClient) -> None:
    peaks = [20.0 if counter == 501 else 33.25 for counter in range(1, 1002)]
    lot_id = told(client, lot.spec(), file_of([thinned(1001, 10, pressure_peak_mpa=peaks)]))
    totals = life(client, lot_id)["totals"]
    # The row at 501 does not count: the nine before it and the nine after it earn nothing.
    assert (totals["counted_cycles"], totals["inferred_cycles"]) == (100, 882)
    assert totals["unlogged_cycles"] == 18


def test_a_failure_in_thinned_rows_lies_after_the_counted_row_before(
    client: ServiceClient,
) -> None:
    lot_id = told(client, lot.spec(), file_of([thinned(1001, 10, **leaking_from(505, 1001))]))
    # The row of cycle 501 is sound, that of 511 and those after it are over the limit.
    assert ending(life(client, lot_id)) == ("FAILED_BETWEEN", None, 501, 511, 501)


def test_undeclared_thinning_earns_nothing(client: ServiceClient) -> None:
    lot_id = told(client, lot.spec(), file_of([thinned(1001, 10).drop_columns("logged_every")]))
    totals = life(client, lot_id)["totals"]
    assert (totals["counted_cycles"], totals["unlogged_cycles"]) == (101, 900)
    assert "inferred_cycles" not in totals


# Inspections -----------------------------------------------------------------------------------


def test_a_weep_just_after_a_start_is_recorded_and_no_failure(client: ServiceClient) -> None:
    asked = lot.spec(failure=LEAKS, reduction={"warm_up_cycles": 20})
    assert client.approved_spec(asked)["settings_not_applied"] == []
    lot_id = told(client, asked, file_of([run("U12", 300, stop="GUARD")]))
    inspect(client, "I-1", 15, leak_class=2)
    found = life(client, lot_id)
    assert "RESTART_WEEP" in found["marks"]
    assert (found["ending"], found["verified_cycles"]) == ("SUSPENDED", 15)


def test_a_weep_long_after_the_start_is_no_restart_weep(client: ServiceClient) -> None:
    asked = lot.spec(failure=LEAKS, reduction={"warm_up_cycles": 20})
    lot_id = told(client, asked, file_of([run("U12", 300, stop="GUARD")]))
    inspect(client, "I-1", 21, leak_class=2)
    assert "RESTART_WEEP" not in life(client, lot_id)["marks"]
    inspect(
        client, "I-2", 10, leak_class=4
    )  # a leak of the failing class is a failure, warm or not
    assert life(client, lot_id)["ending"] == "FAILED_BETWEEN"


def test_two_records_at_one_count_are_one_look(client: ServiceClient) -> None:
    lot_id = told(client, lot.spec(failure=FUNCTIONS), file_of([run("U12", 1000)]))
    inspect(client, "I-1", 1000, leak_class=0, function_check=None)
    assert life(client, lot_id)["marks"] == ["END_CHECK_DUE"]
    inspect(client, "I-2", 1000, leak_class=None, function_check="PASS")
    found = life(client, lot_id)
    assert (found["ending"], found["credited_cycles"]) == ("RUN_OUT", 1000)


def test_two_records_at_two_counts_are_not(client: ServiceClient) -> None:
    lot_id = told(client, lot.spec(failure=FUNCTIONS), file_of([run("U12", 1000)]))
    inspect(client, "I-1", 999, leak_class=0, function_check=None)
    inspect(client, "I-2", 1000, leak_class=None, function_check="PASS")
    assert life(client, lot_id)["marks"] == ["END_CHECK_DUE"]


@pytest.mark.parametrize(("excluded", "expected"), [(False, "FAILED"), (True, "VOID")])
def test_a_unit_found_failed_before_its_first_cycle_is_marked_and_void_if_so_specified(
    client: ServiceClient, *, excluded: bool, expected: str
) -> None:
    asked = lot.spec(failure=LEAKS | {"failed_before_start_is_excluded": excluded})
    lot_id = told(client, asked, file_of(lot.survivors(but=["U12"])))
    inspect(client, "I-1", None, purpose="INCOMING", leak_class=5)
    found = life(client, lot_id)
    assert (found["ending"], found["credited_cycles"]) == (expected, 0)
    assert "FAILED_BEFORE_START" in found["marks"]


# The odometer ----------------------------------------------------------------------------------


def test_an_odometer_that_moved_otherwise_than_the_counter_is_told(client: ServiceClient) -> None:
    odometer = [*range(1001, 1301)]
    agrees = run("U11", 300, stop="GUARD", station_cycle_total=odometer)
    odometer[-1] += 40
    differs = run("U12", 300, stop="GUARD", station_cycle_total=odometer)
    lot_id = told(client, lot.spec(), file_of([agrees, differs]))
    fine, off = life(client, lot_id, "U11"), life(client, lot_id)
    assert (fine["totals"]["odometer_cycles"], fine["marks"]) == (300, [])
    assert (off["totals"]["odometer_cycles"], off["marks"]) == (340, ["ODOMETER_DISAGREES"])
