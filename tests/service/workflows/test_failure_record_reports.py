"""A record with its lot as it stands, and what a signature is worth after facts have moved."""

import msgspec
import pytest
from bodies import BURST, failed, lives_table
from lots_by_hand import LOT, approved, assign, lot_id_of, register, unit_key_of
from stores import FIRST_INSTANT, stamp
from uploads_by_hand import upload

from schemas.failure_records import FailureRecordReport, NewFailureRecord, NewRecordSignature
from service.errors import NotFound
from service.storage.failure_records import add_failure_record, add_signature
from service.storage.store import Cursor, Store
from service.workflows.failure_record_reports import (
    earlier_signature,
    report_of,
    signature_of,
    standing_of,
    standings_of,
)

RIG_HOSE = BURST | {"name": "RIG_HOSE", "relevant": False}
SIGNED = NewRecordSignature(meaning="excluded", reason="rig side")


def prepared(store: Store) -> str:
    """A unit that is declared to have failed at 1,000, and a record that calls it the rig's."""
    register(store)
    modes = {"modes": [BURST, RIG_HOSE], "burst_below_mpa": 10.0}
    assign(store, approved(store, failure=modes))
    upload(store, lives_table([failed(LOT, "001", 1000)]))
    content = {
        "record_key": "FA-1",
        "unit": {"lot_number": LOT, "unit_serial": "001"},
        "failure_mode": "RIG_HOSE",
        "cause": "hose",
        "evidence": "seen",
        "examined_at": FIRST_INSTANT.isoformat(),
    }
    body, unit_key = msgspec.convert(content, NewFailureRecord), unit_key_of(store, "001")
    return store.write_now(lambda db: add_failure_record(db, body, unit_key, stamp())).record_id


def sign(store: Store, record_id: str, by: str) -> None:
    def change(db: Cursor) -> None:
        standing = standing_of(db, record_id, keep=True)
        made, failure_id = signature_of(db, standing, SIGNED, stamp(by=by))
        add_signature(db, made, failure_id)

    store.write_now(change)


def report(store: Store, record_id: str) -> FailureRecordReport:
    return store.read_now(lambda db: report_of(db, standing_of(db, record_id, keep=False)))


def test_signatures_count_down_to_none_missing(store: Store) -> None:
    record_id = prepared(store)
    seen = []
    for by in ("A. Tester", "B. Tester"):
        seen.append((report(store, record_id).state, report(store, record_id).signatures_missing))
        sign(store, record_id, by)
    assert seen == [("AWAITS_SIGNATURES", 2), ("AWAITS_SIGNATURES", 1)]
    found = report(store, record_id)
    assert (found.state, found.signatures_missing) == ("IN_EFFECT", 0)
    assert (found.failure.failure_mode, found.failure.relevant) == ("RIG_HOSE", False)
    assert [each.signed_by for each in found.signatures] == ["A. Tester", "B. Tester"]


def test_another_failure_leaves_the_signatures_without_effect(store: Store) -> None:
    """A second life of the unit that ends at another count speaks of another failure."""
    record_id = prepared(store)
    for by in ("A. Tester", "B. Tester"):
        sign(store, record_id, by)
    upload(store, lives_table([failed(LOT, "001", 300)]))
    found = report(store, record_id)
    # Which of the two lives is true is a question of its own; the second one was not signed.
    assert found.verdict == "HOLD"
    [standing] = store.read_now(lambda db: standings_of(db, lot_id_of(store), keep=False))
    assert (standing.life.worst.failed, standing.life.worst.cycles) == (True, 300)


def test_a_signature_of_the_same_person_is_found_however_the_name_is_written(store: Store) -> None:
    record_id = prepared(store)
    sign(store, record_id, "A. Tester")

    def find(by: str) -> object:
        return store.read_now(
            lambda db: earlier_signature(db, standing_of(db, record_id, keep=False), stamp(by=by))
        )

    assert find("a.  TESTER").signed_by == "A. Tester"
    assert find("B. Tester") is None


def test_what_is_not_there_is_not_found(store: Store) -> None:
    with pytest.raises(NotFound, match="failure record"):
        report(store, "rec_x")
    register(store)
    assert store.read_now(lambda db: standings_of(db, lot_id_of(store), keep=False)) == []
    with pytest.raises(NotFound, match="lot"):
        store.read_now(lambda db: standings_of(db, "lot_x", keep=False))
