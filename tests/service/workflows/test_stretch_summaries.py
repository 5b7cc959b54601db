"""Summaries are kept for every specification with the same rules, and computed where missing."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from bodies import attribute_spec
from lots_by_hand import (
    GOOD,
    HIGH,
    LOT,
    LOW,
    add_rows,
    lot_id_of,
    run_rows,
    set_rig,
)
from uploads_by_hand import rows_of

from schemas.specs import Spec
from service.storage.lot_facts import LotFacts, read_lot_facts
from service.storage.store import Store
from service.workflows.sensing import UNKNOWN_SENSING
from service.workflows.stretch_summaries import StretchReadings, stage_one_for, summarise

KEPT = "SELECT count(*), count(DISTINCT rules_key) FROM stretch_summaries"
A_COUNT_THAT_NO_ROWS_GIVE = 77_777


def spec(**changes: Any) -> Spec:
    return msgspec.convert(attribute_spec(**changes), Spec)


def facts_of(store: Store) -> LotFacts:
    lot_id = lot_id_of(store)
    return store.read_now(lambda db: read_lot_facts(db, lot_id))


def summaries(store: Store, rules: Spec, *, keep: bool = False) -> dict[str, StretchReadings]:
    """Readings by run."""
    facts = facts_of(store)
    ask = store.write_now if keep else store.read_now
    readings = ask(lambda db: summarise(db, facts, rules, keep=keep))
    return {each.run_id: readings[each.stretch_key] for each in facts.stretches}


def counted(store: Store, rules: Spec, *, keep: bool = False) -> dict[str, int]:
    """Counted cycles by run."""
    return {
        run: sum(lap.counted_cycles for lap in reading.as_stored)
        for run, reading in summaries(store, rules, keep=keep).items()
    }


def mark_what_is_kept(store: Store) -> None:
    """Give every kept summary a count that shows that it was read and not computed."""
    count = f'"counted_cycles":{A_COUNT_THAT_NO_ROWS_GIVE}'
    store.write_now(
        lambda db: db.execute(
            "UPDATE stretch_summaries "
            "SET body = regexp_replace(body, '\"counted_cycles\":[0-9]+', $count)",
            {"count": count},
        )
    )


@pytest.fixture
def ran(store: Store) -> Store:
    """Two runs: four cycles of which two count, and three that all count."""
    add_rows(
        store,
        [
            *run_rows("001", "run-1", [GOOD, LOW, GOOD, HIGH]),
            *run_rows("001", "run-2", [GOOD] * 3, hour=1),
        ],
    )
    return store


def test_each_stretch_is_summarised_under_the_rules(ran: Store) -> None:
    found = summaries(ran, spec())
    [lap] = found["run-1"].as_stored
    assert (lap.logged_cycles, lap.counted_cycles) == (4, 2)
    assert lap.not_counted_by == {"UNDER_PRESSURE": 1, "OVER_PRESSURE": 1}
    assert (lap.run_id, lap.rig_id, lap.station_no, lap.lap) == ("run-1", "RIG-A", 1, 1)
    assert counted(ran, spec()) == {"run-1": 2, "run-2": 3}


def test_nothing_is_kept_unless_asked(ran: Store) -> None:
    counted(ran, spec())
    assert rows_of(ran, KEPT) == [(0, 0)]
    counted(ran, spec(), keep=True)
    assert rows_of(ran, KEPT) == [(2, 1)]


def test_kept_summaries_are_used(ran: Store) -> None:
    before = counted(ran, spec(), keep=True)
    assert counted(ran, spec()) == before
    mark_what_is_kept(ran)
    marked = dict.fromkeys(("run-1", "run-2"), A_COUNT_THAT_NO_ROWS_GIVE)
    assert counted(ran, spec()) == marked
    assert counted(ran, spec(), keep=True) == marked


def test_another_specification_with_the_same_conditions_shares_them(ran: Store) -> None:
    counted(ran, spec(), keep=True)
    mark_what_is_kept(ran)
    plan = attribute_spec()["plan"] | {"unit_count": 30, "planned_cycles": 2000}
    requirement = [{"reliability": 0.9, "confidence": 0.9, "target_cycles": 500}]
    same_rules = spec(spec_id="CC25-B", plan=plan, requirement=requirement)
    assert set(counted(ran, same_rules, keep=True).values()) == {A_COUNT_THAT_NO_ROWS_GIVE}
    assert rows_of(ran, KEPT) == [(2, 1)]


CONDITIONS: dict[str, Any] = attribute_spec()["conditions"]
OTHER_RULES: dict[str, tuple[dict[str, Any], dict[str, int]]] = {
    # 36 MPa is inside, 20 MPa is not.
    "a higher upper limit": (
        {"conditions": CONDITIONS | {"pressure_upper_mpa": 36.0}},
        {"run-1": 3, "run-2": 3},
    ),
    "a lower limit": (
        {"conditions": CONDITIONS | {"pressure_lower_mpa": 19.0}},
        {"run-1": 3, "run-2": 3},
    ),
    # Rows that state no mode are in TEST.
    "another mode": (
        {"conditions": CONDITIONS | {"station_modes": ["COLD_CHECK"]}},
        {"run-1": 0, "run-2": 0},
    ),
}


@pytest.mark.parametrize(("changes", "expected"), OTHER_RULES.values(), ids=OTHER_RULES)
def test_other_rules_have_summaries_of_their_own(
    ran: Store, changes: dict[str, Any], expected: dict[str, int]
) -> None:
    counted(ran, spec(), keep=True)
    mark_what_is_kept(ran)
    assert counted(ran, spec(**changes), keep=True) == expected
    assert rows_of(ran, KEPT) == [(4, 2)]
    assert set(counted(ran, spec()).values()) == {A_COUNT_THAT_NO_ROWS_GIVE}


def test_the_modes_that_count_are_part_of_the_rules(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 2, station_mode="WARM_UP"))
    both = spec(conditions=CONDITIONS | {"station_modes": ["TEST", "WARM_UP"]})
    assert counted(store, spec(), keep=True) == {"run-1": 0}
    assert counted(store, both, keep=True) == {"run-1": 2}
    turned_round = spec(conditions=CONDITIONS | {"station_modes": ["WARM_UP", "TEST"]})
    mark_what_is_kept(store)
    assert counted(store, turned_round) == {"run-1": A_COUNT_THAT_NO_ROWS_GIVE}


def test_only_stretches_with_new_rows_are_computed_again(ran: Store) -> None:
    counted(ran, spec(), keep=True)
    mark_what_is_kept(ran)
    add_rows(ran, run_rows("001", "run-2", [GOOD] * 5, hour=1))
    add_rows(ran, run_rows("002", "run-3", [GOOD], hour=2))
    expected = {"run-1": A_COUNT_THAT_NO_ROWS_GIVE, "run-2": 5, "run-3": 1}
    assert counted(ran, spec(), keep=True) == expected
    # The summary of fewer rows is gone.
    assert rows_of(ran, KEPT) == [(3, 1)]


def test_a_sensors_full_scale_is_part_of_the_rules_of_its_station(ran: Store) -> None:
    add_rows(ran, run_rows("003", "run-3", [GOOD] * 2, station_no=2))
    counted(ran, spec(), keep=True)
    mark_what_is_kept(ran)
    # A reading above one and a half times the full scale is none: 20 MPa x 1.5 = 30 MPa.
    small = {"sensor_id": "S-1", "full_scale_mpa": 20.0, "station_no": 1}
    set_rig(ran, sensors=[small])
    found = summaries(ran, spec())
    [lap] = found["run-1"].as_stored
    assert lap.not_counted_by == {"NO_READING": 3, "UNDER_PRESSURE": 1}
    assert found["run-3"].as_stored[0].counted_cycles == A_COUNT_THAT_NO_ROWS_GIVE


def test_where_rows_contradict_both_readings_are_given(ran: Store) -> None:
    contradicting = run_rows("001", "run-1", [LOW, GOOD])
    assert add_rows(ran, contradicting).conflicting_rows == 2
    found = summaries(ran, spec(), keep=True)
    disputed, plain = found["run-1"], found["run-2"]
    # GOOD/LOW, LOW/GOOD, GOOD, HIGH: as first received 2, at best 3, at worst 1.
    totals = [
        [lap.counted_cycles for lap in laps]
        for laps in (disputed.as_stored, disputed.kindest, disputed.harshest)
    ]
    assert totals == [[2], [3], [1]]
    assert (plain.kindest, plain.harshest) == ([], [])
    # All three readings are kept, too.
    assert summaries(ran, spec()) == found


def test_a_reset_gives_laps(store: Store) -> None:
    run = [
        *run_rows("001", "run-1", [GOOD] * 4),
        *run_rows("001", "run-1", [GOOD, LOW], hour=1),
    ]
    add_rows(store, run)
    [reading] = summaries(store, spec()).values()
    found = [(each.lap, each.logged_cycles, each.counted_cycles) for each in reading.as_stored]
    assert found == [(1, 4, 4), (2, 2, 1)]


def test_stage_one_judges_the_modes_that_the_specification_names(store: Store) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 3)
    rows[0]["station_mode"], rows[1]["station_mode"] = "WARM_UP", "TEST"
    rows[2]["station_mode"] = None
    receipt = add_rows(store, rows)
    both = spec(conditions=CONDITIONS | {"station_modes": ["TEST", "WARM_UP"]})
    [stretch] = facts_of(store).stretches
    point = (0, stretch.stretch_key, 1, 3, stretch.last_started_at)
    for rules, expected in ((spec(), 2), (both, 3)):
        counts = store.read_now(
            lambda db, r=rules: stage_one_for(db, r, UNKNOWN_SENSING).counted_at([point])
        )
        assert sum(group.cycles for group in counts[0] if group.misses == 0) == expected
        assert sum(group.cycles for group in counts[0]) == 3
    assert receipt.lots[0].lot_number == LOT
