"""Versions of a specification move from draft to approved to superseded and are never edited."""

import hashlib
import json
from typing import Any

import msgspec
import pytest
from stores import stamp

from schemas.specs import Spec, SpecApproval
from service.errors import NotFound
from service.storage.specs import (
    add_draft,
    approve_version,
    canonical_json,
    delete_draft,
    find_current_version,
    find_equal_version,
    find_version,
    has_versions,
    list_specs,
    list_versions,
    replace_draft,
    spec_hash,
)
from service.storage.store import Cursor, Store

BODY: dict[str, Any] = {
    "spec_id": "CC25-Q1",
    "part_number": "CC25",
    "requirement": [{"reliability": 0.95, "confidence": 0.9, "target_cycles": 100000}],
    "conditions": {
        "pressure_lower_mpa": 31.59,
        "pressure_upper_mpa": 34.91,
        "station_modes": ["TEST"],
    },
    "failure": {
        "modes": [
            {
                "name": "BURST",
                "detected_by": "CYCLES",
                "seen_as": "BURST",
                "relevant": True,
                "critical": True,
            }
        ],
        "burst_below_mpa": 10.0,
    },
    "reduction": {},
    "plan": {
        "kind": "ATTRIBUTE",
        "unit_count": 45,
        "planned_cycles": 100000,
        "allowed_failures": 0,
        "overdue_hours": 48.0,
    },
}
APPROVAL = SpecApproval(meaning="approved for test", reason="reviewed")


def spec(**changes: Any) -> Spec:
    return msgspec.convert({**BODY, **changes}, Spec)


def test_the_hash_is_of_json_with_sorted_keys_and_no_space() -> None:
    # Written with the standard library's encoder, a different program.
    text = json.dumps(BODY, sort_keys=True, separators=(",", ":"))
    assert canonical_json(spec()) == text
    assert spec_hash(spec()) == "sha256:" + hashlib.sha256(text.encode()).hexdigest()


def test_the_order_of_fields_and_explicit_absence_do_not_change_the_hash() -> None:
    turned = dict(reversed(BODY.items()))
    absent = {**turned, "shape": None, "part": None, "spec_before_data": False}
    assert spec_hash(msgspec.convert(absent, Spec)) == spec_hash(spec())


def test_an_approved_version_is_superseded_by_the_next_approval(store: Store) -> None:
    def change(db: Cursor) -> None:
        first = add_draft(db, spec(), stamp(1))
        assert (first.version, first.state, first.created_by) == (1, "DRAFT", "Test bench")
        approved = approve_version(db, first, APPROVAL, stamp(2, by="Reviewer"))
        assert (approved.state, approved.approved_by) == ("APPROVED", "Reviewer")
        assert (approved.approval_meaning, approved.approved_at) == (APPROVAL.meaning, stamp(2).at)
        second = add_draft(db, spec(part="other text"), stamp(3))
        assert (second.version, second.state) == (2, "DRAFT")
        assert find_version(db, "CC25-Q1", 1).state == "APPROVED"
        approve_version(db, second, APPROVAL, stamp(4))

    store.write_now(change)
    versions = store.read_now(lambda db: list_versions(db, "CC25-Q1", after=0, limit=9))
    assert [(each.version, each.state) for each in versions] == [(1, "SUPERSEDED"), (2, "APPROVED")]
    assert versions[0].spec == spec()
    assert versions[0].created_at == stamp(1).at


def test_a_draft_is_replaced_and_deleted_but_its_number_is_not_used_again(store: Store) -> None:
    def change(db: Cursor) -> None:
        add_draft(db, spec(), stamp(1))
        replaced = replace_draft(db, spec(part="better"), 1, stamp(2))
        assert (replaced.version, replaced.spec.part) == (1, "better")
        assert replaced.hash == spec_hash(spec(part="better"))
        assert replaced.created_at == stamp(1).at
        delete_draft(db, "CC25-Q1", 1, stamp(3))
        assert not has_versions(db, "CC25-Q1")
        assert add_draft(db, spec(), stamp(4)).version == 2

    store.write_now(change)
    with pytest.raises(NotFound, match="CC25-Q1:1"):
        store.read_now(lambda db: find_version(db, "CC25-Q1", 1))
    facts = store.read_now(
        lambda db: db.execute("SELECT kind FROM spec_events ORDER BY entry_no").fetchall()
    )
    assert [kind for (kind,) in facts] == ["DRAFTED", "REPLACED", "DELETED", "DRAFTED"]


def test_the_current_version_is_the_approved_one_else_the_newest_draft(store: Store) -> None:
    def current() -> int:
        return store.read_now(lambda db: find_current_version(db, "CC25-Q1")).version

    with pytest.raises(NotFound):
        current()
    draft = store.write_now(lambda db: add_draft(db, spec(), stamp(1)))
    store.write_now(lambda db: add_draft(db, spec(part="second"), stamp(2)))
    assert current() == 2
    store.write_now(lambda db: approve_version(db, draft, APPROVAL, stamp(3)))
    assert current() == 1


def test_equal_content_is_found_by_its_hash(store: Store) -> None:
    store.write_now(lambda db: add_draft(db, spec(), stamp()))
    found = store.read_now(lambda db: find_equal_version(db, spec()))
    assert found is not None
    assert found.version == 1
    assert store.read_now(lambda db: find_equal_version(db, spec(part="x"))) is None
    other = spec(spec_id="CC25-Q2")
    assert store.read_now(lambda db: find_equal_version(db, other)) is None


def test_specifications_are_listed_by_id_with_their_newest_version(store: Store) -> None:
    def change(db: Cursor) -> None:
        for spec_id in ("B", "A", "C"):
            add_draft(db, spec(spec_id=spec_id), stamp())
        add_draft(db, spec(spec_id="B", part_number="CC26"), stamp())

    store.write_now(change)
    found = store.read_now(lambda db: list_specs(db, after="", limit=9))
    assert [(each.spec_id, each.version, each.part_number) for each in found] == [
        ("A", 1, "CC25"),
        ("B", 2, "CC26"),
        ("C", 1, "CC25"),
    ]
    assert store.read_now(lambda db: list_specs(db, after="A", limit=1)) == found[1:2]
