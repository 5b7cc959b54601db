"""A signed answer is read back as it was written; the newest of a hold counts, all stay."""

import duckdb
import msgspec
import pytest
from lots_by_hand import LOT, lot_id_of, lot_key_of, register
from stores import FIRST_INSTANT

from schemas.dispositions import Disposition
from schemas.holds import HoldAnswer
from service.storage.dispositions import (
    add_disposition,
    answer_of,
    answers_of_lot,
    list_dispositions,
    newest_disposition,
)
from service.storage.lot_facts import read_lot_facts
from service.storage.store import Store

HOLD = "unit_1.UNEXPLAINED_STOP.aaaaaaaaaaaa"
OTHER = "unit_1.UNIT_OVERDUE.bbbbbbbbbbbb"
STANDING = {"verdict": "HOLD", "open_hold_count": 1, "evaluation_key": "sha256:1"}
STOPPED = {"ending": "SUSPENDED", "credited_cycles": 500, "failed": False}
FAILED = {"ending": "FAILED", "credited_cycles": 500, "failed": True}


def disposition(number: int, hold_id: str = HOLD, choice: str = "BEST") -> Disposition:
    body = {
        "disposition_id": f"dis_{number}",
        "hold_id": hold_id,
        "lot_id": "lot_1",
        "choice": choice,
        "meaning": "hold decided",
        "reason": f"look {number}",
        "chosen": STOPPED,
        "hold": {
            "hold_id": hold_id,
            "name": "UNEXPLAINED_STOP",
            "evidence": [{"rig_id": "RIG-A", "run_id": "run-1", "to_cycle_in_run": 500}],
            "best": STOPPED,
            "worst": FAILED,
        },
        "before": STANDING,
        "after": STANDING,
        "signed_at": FIRST_INSTANT.isoformat(),
        "signed_by": "A. Tester",
        "actor_kind": "PERSON",
        "in_effect": True,
    }
    return msgspec.convert(body, Disposition)


def add(store: Store, each: Disposition, lot_key: int = 7) -> None:
    store.write_now(lambda db: add_disposition(db, lot_key, each))


def test_a_disposition_is_read_back_as_it_was_written(store: Store) -> None:
    add(store, disposition(1))
    assert store.read_now(lambda db: newest_disposition(db, HOLD)) == disposition(1)
    assert store.read_now(lambda db: newest_disposition(db, OTHER)) is None
    [(_, found)] = store.read_now(lambda db: list_dispositions(db, HOLD, after=0, limit=9))
    assert found == disposition(1)


def test_the_newest_counts_and_all_stay_in_their_order(store: Store) -> None:
    for number, choice in ((1, "BEST"), (2, "WORST"), (3, "BEST")):
        add(store, disposition(number, choice=choice))
        add(store, disposition(10 * number, OTHER))
    newest = store.read_now(lambda db: newest_disposition(db, HOLD))
    assert newest == disposition(3)
    found = store.read_now(lambda db: list_dispositions(db, HOLD, after=0, limit=2))
    assert [each.disposition_id for _, each in found] == ["dis_1", "dis_2"]
    rest = store.read_now(lambda db: list_dispositions(db, HOLD, after=found[-1][0], limit=9))
    assert [each.disposition_id for _, each in rest] == ["dis_3"]


def test_a_lot_has_the_newest_answer_to_each_of_its_holds(store: Store) -> None:
    add(store, disposition(1))
    add(store, disposition(2, choice="WORST"))
    add(store, disposition(3, OTHER))
    add(store, disposition(4, "unit_2.UNIT_OVERDUE.cccccccccccc"), lot_key=8)
    assert store.read_now(lambda db: answers_of_lot(db, 7)) == {
        HOLD: HoldAnswer(
            choice="WORST",
            meaning="hold decided",
            reason="look 2",
            signed_at=FIRST_INSTANT,
            signed_by="A. Tester",
        ),
        OTHER: answer_of(disposition(3, OTHER)),
    }
    assert store.read_now(lambda db: answers_of_lot(db, 9)) == {}


def test_answers_are_among_the_facts_of_their_lot(store: Store) -> None:
    register(store)
    lot_id = lot_id_of(store, LOT)
    assert store.read_now(lambda db: read_lot_facts(db, lot_id)).answers == {}
    add(store, disposition(1), lot_key_of(store, LOT))
    facts = store.read_now(lambda db: read_lot_facts(db, lot_id))
    assert facts.answers == {HOLD: answer_of(disposition(1))}


def test_no_two_dispositions_share_an_id(store: Store) -> None:
    add(store, disposition(1))
    with pytest.raises(duckdb.ConstraintException):
        add(store, disposition(1, OTHER))
