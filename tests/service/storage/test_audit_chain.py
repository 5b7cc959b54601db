"""The trail follows from the facts, and every tampering with them is named."""

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from lots_by_hand import add_rows, inspect, list_sample, register, run_rows
from stores import open_store

from schemas.audit import AuditHead
from schemas.lots import NewUnit
from service.storage.audit_chain import (
    START,
    first_difference,
    read_audit_head,
    read_audit_links,
)
from service.storage.store import Cursor, Store


@pytest.fixture
def told(tmp_path: Path) -> Iterator[Store]:
    """A store with a lot, its sample, an upload and an inspection."""
    store = open_store(tmp_path)
    register(store)
    list_sample(store, NewUnit(unit_serial="U-1"), NewUnit(unit_serial="U-2"))
    add_rows(store, run_rows("U-1", "R-1", [33.0] * 20))
    inspect(store, "U-1")
    yield store
    store.close()


def head_of(store: Store) -> AuditHead:
    return store.read_now(read_audit_head)


def difference(store: Store, head: AuditHead | None = None) -> str | None:
    return store.read_now(lambda db: first_difference(db, head))


def tamper(store: Store, statement: str) -> None:
    """Change the tables behind the program's back, which learns of nothing."""
    store.write_now(lambda db: db.execute(statement), changes_facts=False)


def test_an_untouched_store_has_no_difference(told: Store) -> None:
    assert head_of(told).position > 5
    assert difference(told) is None
    assert difference(told, head_of(told)) is None


def test_every_link_is_the_hash_of_the_one_before_it_and_its_fact(told: Store) -> None:
    links = told.read_now(lambda db: read_audit_links(db, after=0, limit=1_000))
    before = START
    for number, each in enumerate(links, start=1):
        # Written apart: JSON of the standard library without spaces.
        said = [before, number, each.fact_kind, each.fact_no, each.fact_sha256]
        text = json.dumps(said, separators=(",", ":"))
        assert each.link == hashlib.sha256(text.encode()).hexdigest()
        assert each.position == number
        before = each.link
    kinds = {each.fact_kind for each in links}
    assert {"lots", "units", "uploads", "inspections", "sample_units"} <= kinds


def test_a_later_write_only_adds_links(told: Store) -> None:
    head = head_of(told)
    inspect(told, "U-2", key="I-2")
    assert head_of(told).position == head.position + 1
    assert difference(told, head) is None


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE inspections SET recorded_by = 'nobody'", "The fact inspections"),
        ("UPDATE units SET unit_serial = 'U-9' WHERE unit_serial = 'U-2'", "The fact units"),
        ("DELETE FROM inspections", "is missing"),
        ("UPDATE audit_links SET link = repeat('0', 64) WHERE position = 3", "Link 3"),
        ("DELETE FROM audit_links WHERE position = 2", "Link 3"),
        ("DELETE FROM audit_links WHERE position > 4", "has no link"),
        (
            "INSERT INTO sample_units (unit_key, recorded_at, recorded_by) "
            "VALUES (99, now(), 'nobody')",
            "has no link",
        ),
    ],
)
def test_a_change_behind_the_programs_back_is_named(told: Store, statement: str, said: str) -> None:
    tamper(told, statement)
    found = difference(told)
    assert found is not None and said in found


def test_facts_cut_off_with_their_links_show_against_a_noted_end(told: Store) -> None:
    head = head_of(told)
    tamper(told, "DELETE FROM inspections")
    tamper(told, f"DELETE FROM audit_links WHERE position = {head.position}")
    assert difference(told) is None
    assert "noted down" in str(difference(told, head))


def test_a_trail_written_anew_shows_against_a_noted_end(told: Store) -> None:
    other = AuditHead(position=2, link="1" * 64)
    assert difference(told, other) == "Link 2 is not the one that was noted down."


def test_facts_from_before_the_trail_are_linked_by_the_next_write(
    told: Store, tmp_path: Path
) -> None:
    tamper(told, "DELETE FROM audit_links")
    told.close()
    reopened = open_store(tmp_path)
    inspect(reopened, "U-2", key="I-2")
    assert difference(reopened) is None
    reopened.close()


def test_a_write_that_fails_leaves_no_link(told: Store) -> None:
    head = head_of(told)

    def half(db: Cursor) -> None:
        db.execute("INSERT INTO sample_units VALUES (nextval('fact_numbers'), 7, NULL, now(), '')")
        raise ValueError("stopped half way")

    with pytest.raises(ValueError, match="half way"):
        told.write_now(half)
    assert head_of(told) == head
    inspect(told, "U-2", key="I-2")
    assert difference(told) is None
