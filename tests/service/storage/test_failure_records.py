"""Failure records and signatures are read back as written; all of them stay, in their order."""

import duckdb
import msgspec
import pytest
from lots_by_hand import LOT, add_rows, lot_id_of, lot_key_of, run_rows, unit_key_of
from stores import FIRST_INSTANT, stamp

from schemas.failure_records import FailureRecord, NewFailureRecord, RecordSignature
from schemas.unit_evidence import SignedFor
from service.errors import NotFound
from service.storage.failure_records import (
    add_failure_record,
    add_signature,
    find_by_key,
    find_failure_record,
    list_failure_records,
    records_of_lot,
    signatures_under,
)
from service.storage.lot_facts import read_lot_facts
from service.storage.store import Store

STANDING = {"verdict": "HOLD", "open_hold_count": 1, "evaluation_key": "sha256:1"}


def body(key: str, serial: str = "001", **changes: object) -> NewFailureRecord:
    content = {
        "record_key": key,
        "unit": {"lot_number": LOT, "unit_serial": serial},
        "failure_mode": "SEAL_DECAY",
        "cause": "lip worn",
        "evidence": "seen under the microscope",
        "examined_at": FIRST_INSTANT.isoformat(),
        "custody": [
            {"held_by": "A. Tester", "place": "cabinet 4", "from_at": FIRST_INSTANT.isoformat()}
        ],
        "attachments": ["ab" * 32],
        "hidden_before": {"clean_at_cycles": 300},
        **changes,
    }
    return msgspec.convert(content, NewFailureRecord)


def add(store: Store, key: str = "FA-1", serial: str = "001") -> FailureRecord:
    unit_key = unit_key_of(store, serial)
    return store.write_now(lambda db: add_failure_record(db, body(key, serial), unit_key, stamp()))


def signature(record_id: str, number: int = 1) -> RecordSignature:
    content = {
        "signature_id": f"sig_{number}",
        "record_id": record_id,
        "failure": {
            "seen_as": "DECAY",
            "failure_mode": "UNANALYSED",
            "critical": False,
            "relevant": True,
            "failure_id": "fail_a",
        },
        "meaning": "excluded",
        "reason": "rig side",
        "before": STANDING,
        "after": STANDING,
        "signed_at": FIRST_INSTANT.isoformat(),
        "signed_by": f"Person {number}",
        "actor_kind": "PERSON",
        "in_effect": True,
    }
    return msgspec.convert(content, RecordSignature)


@pytest.fixture(autouse=True)
def rows(store: Store) -> None:
    for serial in ("001", "002"):
        add_rows(store, run_rows(serial, f"run-{serial}", [33.0] * 3))


def test_a_record_is_read_back_as_it_was_written(store: Store) -> None:
    made = add(store)
    assert (made.record, made.recorded_at, made.lot_id) == (
        body("FA-1"),
        FIRST_INSTANT,
        lot_id_of(store),
    )
    assert store.read_now(lambda db: find_by_key(db, "FA-1")) == made
    assert store.read_now(lambda db: find_by_key(db, "FA-2")) is None
    stored = store.read_now(lambda db: find_failure_record(db, made.record_id))
    assert (stored.record, stored.unit_key) == (made, unit_key_of(store, "001"))
    with pytest.raises(NotFound, match="failure record"):
        store.read_now(lambda db: find_failure_record(db, "rec_x"))


def test_records_are_listed_in_their_order_and_paged(store: Store) -> None:
    made = [add(store, f"FA-{number}") for number in (3, 1, 2)]
    first = store.read_now(lambda db: list_failure_records(db, None, after=0, limit=2))
    assert [each for _, each in first] == made[:2]
    rest = store.read_now(
        lambda db: list_failure_records(db, lot_id_of(store), after=first[-1][0], limit=9)
    )
    assert [each for _, each in rest] == made[2:]
    assert store.read_now(lambda db: list_failure_records(db, "lot_x", after=0, limit=9)) == []


def test_a_lot_has_every_record_of_its_units_with_who_signed_each(store: Store) -> None:
    first, second = add(store, "FA-1"), add(store, "FA-2", "002")
    for number in (1, 2):
        signed = signature(second.record_id, number)
        store.write_now(lambda db, signed=signed: add_signature(db, signed, "fail_a"))
    found = store.read_now(lambda db: records_of_lot(db, lot_key_of(store)))
    assert [(each.record, each.signatures) for each in found] == [
        (first, []),
        (
            second,
            [
                SignedFor(failure_id="fail_a", signed_by="Person 1"),
                SignedFor(failure_id="fail_a", signed_by="Person 2"),
            ],
        ),
    ]
    assert store.read_now(lambda db: read_lot_facts(db, first.lot_id)).failure_records == found
    assert store.read_now(lambda db: signatures_under(db, second.record_id)) == [
        signature(second.record_id, 1),
        signature(second.record_id, 2),
    ]
    assert store.read_now(lambda db: signatures_under(db, first.record_id)) == []


def test_no_key_and_no_signature_is_used_twice(store: Store) -> None:
    made = add(store)
    with pytest.raises(duckdb.ConstraintException):
        add(store)
    signed = signature(made.record_id)
    store.write_now(lambda db: add_signature(db, signed, "fail_a"))
    with pytest.raises(duckdb.ConstraintException):
        store.write_now(lambda db: add_signature(db, signed, "fail_b"))
