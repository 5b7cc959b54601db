"""A recorded verdict is read back as it was written, and there is one per evaluation."""

import duckdb
import msgspec
import pytest
from lives import LOT_NUMBER
from stores import FIRST_INSTANT

from schemas.decisions import Decision
from service.errors import NotFound
from service.storage.decisions import (
    add_decision,
    find_decision,
    find_decision_on,
    list_decisions,
)
from service.storage.store import Store

EVALUATION = {
    "lot_id": "lot_1",
    "lot_number": LOT_NUMBER,
    "verdict": "ACCEPT",
    "robust_to_open_holds": True,
    "reasons": [],
    "marks": [],
    "evidence": {
        "unit_count": 1,
        "started_count": 1,
        "ended_count": 1,
        "failure_count": 0,
        "counted_cycles": 1000,
        "credited_cycles": 1000,
        "open_hold_count": 0,
    },
    "estimates": {"weibull_fit": {"type": "NOT_ESTIMABLE", "reason": "NO_FAILURES"}},
    "units": [],
    "holds": [],
    "under_holds": {"best": "ACCEPT", "worst": "ACCEPT"},
    "still_needed": [],
    "options_needing_new_spec": [],
    "provenance": {
        "evaluation_key": "sha256:1",
        "lives_key": "sha256:2",
        "method_version": 1,
        "reduction_version": 1,
        "limit": "ONE_SIDED",
        "success_run_convention": "NO_PRIOR",
        "software": "lotproof",
        "libraries": {},
    },
}


def decision(number: int) -> Decision:
    body = {
        "decision_id": f"dec_{number}",
        "lot_id": "lot_1",
        "lot_number": LOT_NUMBER,
        "verdict": "ACCEPT",
        "reasons": [],
        "spec": {"spec_id": "CC25-Q1", "version": 1, "hash": "sha256:3"},
        "evaluation_key": f"sha256:{number}",
        "meaning": "accepted",
        "reason": "plan finished",
        "decided_at": FIRST_INSTANT.isoformat(),
        "decided_by": "A. Tester",
        "actor_kind": "PERSON",
        "evaluation": EVALUATION,
        "decision_outdated": False,
    }
    return msgspec.convert(body, Decision)


def test_a_decision_is_read_back_as_it_was_written(store: Store) -> None:
    store.write_now(lambda db: add_decision(db, 7, decision(1)))
    numbered = store.read_now(lambda db: list_decisions(db, 7, after=0, limit=2))
    assert [each for _, each in numbered] == [decision(1)]
    assert store.read_now(lambda db: find_decision(db, "dec_1")) == numbered[0]
    assert store.read_now(lambda db: find_decision_on(db, 7, "sha256:1")) == numbered[0]
    assert store.read_now(lambda db: find_decision_on(db, 8, "sha256:1")) is None
    with pytest.raises(NotFound, match="dec_2"):
        store.read_now(lambda db: find_decision(db, "dec_2"))


def test_one_evaluation_is_decided_once(store: Store) -> None:
    store.write_now(lambda db: add_decision(db, 7, decision(1)))
    twin = msgspec.structs.replace(decision(1), decision_id="dec_9")
    with pytest.raises(duckdb.ConstraintException):
        store.write_now(lambda db: add_decision(db, 7, twin))


def test_decisions_of_a_lot_are_listed_oldest_first(store: Store) -> None:
    for number in (1, 2, 3):
        store.write_now(lambda db, n=number: add_decision(db, 7, decision(n)))
    store.write_now(lambda db: add_decision(db, 8, decision(4)))
    found = store.read_now(lambda db: list_decisions(db, 7, after=0, limit=2))
    assert [each.decision_id for _, each in found] == ["dec_1", "dec_2"]
    rest = store.read_now(lambda db: list_decisions(db, 7, after=found[-1][0], limit=9))
    assert [each.decision_id for _, each in rest] == ["dec_3"]
