"""A recorded verdict shows what became of the facts that it rested on; it is never edited."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from lots_by_hand import GOOD, add_rows, approved, assign, at, lot_id_of, register, run_rows
from stores import stamp
from uploads_by_hand import rows_of

from schemas.calibrations import NewCalibration
from schemas.decisions import Decision, NewDecision
from service.storage import calibrations, decisions
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows import decision_standing
from service.workflows.calibration_changes import calibration_changes
from service.workflows.clock import stamp_of
from service.workflows.decide_lot import _decision
from service.workflows.decision_standing import as_they_stand
from service.workflows.evaluate_lot import evaluate
from service.workflows.reduce_lot import read_lot

SERIALS = [f"00{number}" for number in range(1, 7)]


@pytest.fixture
def accepted(store: Store) -> Store:
    """A lot of six units of 1,000 cycles each on a sensor of its own, and its ACCEPT."""
    rows = [
        row
        for number, serial in enumerate(SERIALS)
        for row in run_rows(
            serial,
            f"run-{serial}",
            [GOOD] * 1000,
            hour=number,
            sensor_id=f"PT-{serial}",
            stop_reason="TARGET_REACHED",
        )
    ]
    add_rows(store, rows)
    register(store)
    assign(store, approved(store))
    decide(store)
    return store


def decide(store: Store) -> None:
    """Record the verdict as it stands."""
    actor = Actor(name="A. Tester", kind="PERSON", scopes=frozenset({"admin"}))
    when = stamp_of(lambda: datetime(2026, 11, 25, 8, tzinfo=UTC), actor)
    body = NewDecision(meaning="accepted", reason="plan finished")

    def change(db: Cursor) -> None:
        evaluation = evaluate(db, lot_id_of(store), keep=True)
        made = _decision(evaluation, body, actor, when)
        decisions.add_decision(db, read_lot(db, evaluation.lot_id).facts.lot_key, made)

    lot_id = lot_id_of(store)
    assert lot_id
    store.write_now(change)


def calibrate(store: Store, number: int, sensor_id: str = "PT-001", gain: float = 1.06) -> str:
    record = NewCalibration(
        calibration_key=f"K-{number}",
        sensor_id=sensor_id,
        from_at=at(-1),
        to_at=at(10),
        gain=gain,
        offset_mpa=0.0,
        found_at=at(10),
        reason="yearly check",
    )
    _, made = store.write_now(lambda db: calibrations.add_calibration(db, record, stamp(number)))
    return made.calibration_id


def standing(store: Store) -> list[Decision]:
    lot_id = lot_id_of(store)

    def question(db: Cursor) -> list[Decision]:
        lot_key = read_lot(db, lot_id).facts.lot_key
        found = decisions.list_decisions(db, lot_key, after=0, limit=9)
        return [each for _, each in as_they_stand(db, lot_id, found)]

    return store.read_now(question)


def test_no_decision_asks_nothing(store: Store) -> None:
    assert store.read_now(lambda db: as_they_stand(db, "lot_nowhere", [])) == []


def test_a_verdict_on_facts_that_stand_is_neither_outdated_nor_marked(accepted: Store) -> None:
    [decision] = standing(accepted)
    assert (decision.verdict, decision.decision_outdated, decision.marks) == ("ACCEPT", False, [])


def test_a_correction_that_changed_a_life_withdraws_an_accept(accepted: Store) -> None:
    calibration_id = calibrate(accepted, 1)
    [decision] = standing(accepted)
    assert (decision.decision_outdated, decision.marks) == (True, ["WITHDRAWN_BY_CORRECTION"])
    assert [(by.kind, by.record_id) for by in decision.withdrawn_by] == [
        ("CALIBRATION", calibration_id)
    ]
    # What is stored is what was recorded.
    assert rows_of(accepted, "SELECT body LIKE '%WITHDRAWN%' FROM decisions") == [(False,)]


def test_only_records_that_touched_a_unit_whose_life_changed_are_named(accepted: Store) -> None:
    first = calibrate(accepted, 1)
    calibrate(accepted, 2, sensor_id="PT-002", gain=1.0001)
    third = calibrate(accepted, 3, sensor_id="PT-003")
    [decision] = standing(accepted)
    assert [by.record_id for by in decision.withdrawn_by] == [first, third]


def test_other_later_facts_outdate_without_a_mark(accepted: Store) -> None:
    add_rows(accepted, run_rows("007", "run-7", [GOOD], hour=9))
    [decision] = standing(accepted)
    assert (decision.decision_outdated, decision.marks) == (True, [])


def test_records_that_were_there_already_withdraw_nothing(accepted: Store) -> None:
    calibrate(accepted, 1, gain=1.0001)
    decide(accepted)
    first, second = standing(accepted)
    assert (first.decision_outdated, first.marks) == (True, [])
    assert (second.decision_outdated, second.marks) == (False, [])


def test_each_kind_of_record_is_asked_once_for_all_decisions(
    accepted: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []

    def source(db: Cursor, reading: Any) -> list[Any]:
        asked.append(reading.facts.lot_id)
        return calibration_changes(db, reading)

    monkeypatch.setattr(decision_standing, "SOURCES", (source,))
    standing(accepted)
    assert asked == []  # nothing is outdated
    calibrate(accepted, 1)
    standing(accepted)
    assert asked == [lot_id_of(accepted)]
