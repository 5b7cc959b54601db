"""Rows that leave something open, through HTTP to the hold, both readings and the verdict.

The lives are counted by hand from rows that each test makes; the rules are the project's own
rulings, named in each test by what they say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from bodies import BURST, attribute_spec
from lots_by_hand import GOOD, HIGH, LOT, LOW, Rows, rows_table, run_rows
from posted import lives_of
from service_client import ServiceClient, running_service

SERIALS = [f"00{n}" for n in range(1, 7)]
DECAY = BURST | {"name": "SEAL_DECAY", "seen_as": "DECAY"}
SPEC = attribute_spec(
    conditions={
        "pressure_lower_mpa": 31.59,
        "pressure_upper_mpa": 34.91,
        "pressure_invalidation_mpa": 36.58,
        "fluid_temperature_max_c": 53.0,
        "station_modes": ["TEST"],
    },
    failure={
        "modes": [DECAY],
        "decay_limit_mpa": 0.6,
        "persistence": {"rule": "CONSECUTIVE", "cycles": 5},
    },
    reduction={
        "under_pressure_share_max": 0.05,
        "clipped_cycles": 3,
        "warm_up_cycles": 20,
        "swap_step": {"decay_mpa": 0.1},
    },
)
PLANNED = 1000
SOUND = {
    "pressure_dwell_start_mpa": 33.0,
    "pressure_dwell_end_mpa": 32.9,
    "fluid_temperature_c": 45.0,
}
DONE = "TARGET_REACHED"
Change = Callable[[Rows], Rows]


@pytest.fixture
def client(tmp_path: Path) -> Iterator[ServiceClient]:
    with running_service(tmp_path) as started:
        yield started


def unit_rows(serial: str, peaks: list[float], **columns: Any) -> Rows:
    """One run on the unit's own station, ended because the count was reached."""
    rows = run_rows(
        serial, f"run-{serial}", peaks, **(SOUND | {"station_no": int(serial)} | columns)
    )
    return [row | {"stop_reason": None} for row in rows[:-1]] + [rows[-1] | {"stop_reason": DONE}]


def told_lot(client: ServiceClient, *rows: Rows) -> str:
    """A lot of six units: five run out, the sixth has these rows, one upload each."""
    client.approved_spec(SPEC)
    lot_id = str(client.lot(LOT)["lot_id"])
    client.sample(lot_id, SERIALS)
    client.assign(lot_id, SPEC["spec_id"])
    sound = [row for serial in SERIALS[:-1] for row in unit_rows(serial, [GOOD] * PLANNED)]
    client.upload(rows_table(sound))
    for each in rows:
        client.upload(rows_table(each))
    return lot_id


def life_of_sixth(client: ServiceClient, lot_id: str) -> dict[str, Any]:
    return lives_of(client, lot_id)[-1]


def the_hold(client: ServiceClient, lot_id: str) -> dict[str, Any]:
    """The one hold of the lot; it is on the unit and on the lot, and the verdict waits for it."""
    evaluation = client.evaluation(lot_id)
    assert evaluation["verdict"] == "HOLD"
    (hold,) = evaluation["holds"]
    (on_unit,) = life_of_sixth(client, lot_id)["holds"]
    assert on_unit["hold_id"] == hold["hold_id"]
    return dict(hold)


def sides(hold: dict[str, Any]) -> tuple[str, int, str, int]:
    best, worst = hold["best"], hold["worst"]
    return (best["ending"], best["credited_cycles"], worst["ending"], worst["credited_cycles"])


def test_too_large_a_share_of_cycles_under_pressure_is_held(client: ServiceClient) -> None:
    rows = unit_rows("006", [LOW] * 60 + [GOOD] * PLANNED)
    hold = the_hold(client, told_lot(client, rows))
    assert (hold["name"], sides(hold)) == ("UNDER_PRESSURE_SHARE", ("RUN_OUT", 1000, "VOID", 0))
    figures, where = hold["evidence"]
    assert figures["measured"] == pytest.approx(60 / 1060)
    assert (where["from_cycle_in_run"], where["to_cycle_in_run"], where["cycles"]) == (1, 60, 60)


def test_a_share_below_its_limit_is_not(client: ServiceClient) -> None:
    lot_id = told_lot(client, unit_rows("006", [LOW] * 50 + [GOOD] * PLANNED))
    assert client.evaluation(lot_id)["verdict"] == "ACCEPT"


def test_one_cycle_over_the_invalidation_limit_is_held(client: ServiceClient) -> None:
    rows = unit_rows("006", [GOOD] * 400 + [HIGH, 36.6] + [GOOD] * 600)
    hold = the_hold(client, told_lot(client, rows))
    assert (hold["name"], sides(hold)) == ("OVER_PRESSURE", ("RUN_OUT", 1000, "VOID", 0))
    (where,) = hold["evidence"]
    assert (where["from_cycle_in_run"], where["cycles"], where["measured"]) == (402, 1, 36.6)


def test_peaks_at_the_full_scale_of_the_sensor_are_held(client: ServiceClient) -> None:
    client.rig(
        "RIG-A", {"sensors": [{"sensor_id": "P-6", "full_scale_mpa": 34.0, "station_no": 6}]}
    )
    rows = unit_rows("006", [GOOD] * 900 + [34.0] * 100)
    hold = the_hold(client, told_lot(client, rows))
    assert (hold["name"], sides(hold)) == ("PEAK_CLIPPED", ("RUN_OUT", 1000, "SUSPENDED", 900))


def test_many_cells_that_say_nothing_are_held(client: ServiceClient) -> None:
    rows = unit_rows("006", [GOOD] * 1000)
    for row in rows[:80]:
        row["fluid_temperature_c"] = float("nan")
    hold = the_hold(client, told_lot(client, rows))
    assert (hold["name"], sides(hold)) == (
        "CONDITION_NOT_RECORDED",
        ("RUN_OUT", 1000, "SUSPENDED", 920),
    )


def test_two_units_on_one_station_at_one_time_are_both_held(client: ServiceClient) -> None:
    lot_id = told_lot(client, unit_rows("006", [GOOD] * PLANNED, station_no=5))
    evaluation = client.evaluation(lot_id)
    assert evaluation["verdict"] == "HOLD"
    found = [(each["name"], each["unit_serial"], sides(each)) for each in evaluation["holds"]]
    void = ("RUN_OUT", 1000, "VOID", 0)
    assert found == [("IDENTITY_CONFLICT", "005", void), ("IDENTITY_CONFLICT", "006", void)]
    assert evaluation["holds"][0]["evidence"][0]["other_unit_serial"] == "006"


def test_another_lots_unit_on_the_station_reopens_what_was_settled(client: ServiceClient) -> None:
    lot_id = told_lot(client, unit_rows("006", [GOOD] * PLANNED))
    before = client.evaluation(lot_id)
    assert before["verdict"] == "ACCEPT"
    other = [row | {"lot_number": "CC25-0118"} for row in unit_rows("006", [GOOD] * 9)]
    client.upload(rows_table([row | {"run_id": "run-9"} for row in other]))
    after = client.evaluation(lot_id)
    assert (after["verdict"], after["holds"][0]["name"]) == ("HOLD", "IDENTITY_CONFLICT")
    assert after["provenance"]["evaluation_key"] != before["provenance"]["evaluation_key"]


def test_a_unit_that_changes_its_decay_over_a_stop_is_held(client: ServiceClient) -> None:
    first = unit_rows("006", [GOOD] * 400)
    first[-1]["stop_reason"] = "OPERATOR_STOP"
    second = unit_rows("006", [GOOD] * 600, pressure_dwell_end_mpa=32.7)
    second = [row | {"run_id": "run-7"} for row in second]
    for row, after in zip(run_rows("006", "run-7", [GOOD] * 600, hour=3), second, strict=True):
        after["started_at"] = row["started_at"]
    hold = the_hold(client, told_lot(client, first, second))
    assert (hold["name"], sides(hold)) == ("POSSIBLE_SWAP", ("RUN_OUT", 1000, "FAILED", 400))
    (where,) = hold["evidence"]
    assert where["measured"] == pytest.approx(0.2)


def leaking(rows: Rows, from_cycle: int) -> Rows:
    return [
        row | ({"pressure_dwell_end_mpa": 32.2} if row["cycle_in_run"] >= from_cycle else {})
        for row in rows
    ]


def test_a_failure_right_after_missing_rows_is_a_bracket_until_they_arrive(
    client: ServiceClient,
) -> None:
    rows = leaking(unit_rows("006", [GOOD] * 800), from_cycle=650)
    lot_id = told_lot(client, rows[:500] + rows[700:])
    life = life_of_sixth(client, lot_id)
    assert (life["ending"], life["cycles_low"], life["cycles_high"]) == ("FAILED_BETWEEN", 500, 701)
    assert life["credited_cycles"] == 500
    assert client.evaluation(lot_id)["verdict"] == "REJECT"
    client.upload(rows_table(rows[500:700]))
    healed = life_of_sixth(client, lot_id)
    assert (healed["ending"], healed["cycles"], healed["totals"]["unlogged_cycles"]) == (
        "FAILED",
        650,
        0,
    )


def test_a_survivor_of_missing_rows_gets_no_credit_for_them_and_no_hold(
    client: ServiceClient,
) -> None:
    rows = unit_rows("006", [GOOD] * 1000)
    lot_id = told_lot(client, rows[:500] + rows[700:])
    life = life_of_sixth(client, lot_id)
    assert (life["ending"], life["credited_cycles"], life["holds"]) == ("SUSPENDED", 800, [])
