"""Kept answers stand under the hash of their inputs; losing them loses nothing else."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from parquet_files import cycle_columns
from uploads_by_hand import fact_counts, rows_of, upload

from service.storage import memos
from service.storage.store import Cursor, Store

Keep = Callable[[Cursor, int, str, str], None]
Find = Callable[[Cursor, int, str], str | None]
BY_LOT = {
    "lives": (memos.keep_lives, memos.find_lives, "lot_lives"),
    "evaluation": (memos.keep_evaluation, memos.find_evaluation, "lot_evaluations"),
}
TABLES = ("stretch_summaries", "lot_lives", "lot_evaluations")


def counts(store: Store) -> dict[str, int]:
    return {table: rows_of(store, f"SELECT count(*) FROM {table}")[0][0] for table in TABLES}


@pytest.mark.parametrize(("keep", "find", "table"), BY_LOT.values(), ids=BY_LOT)
def test_an_answer_of_a_lot_is_found_under_its_key_and_no_other(
    store: Store, keep: Keep, find: Find, table: str
) -> None:
    store.write_now(lambda db: keep(db, 1, "key", "body"))
    assert store.read_now(lambda db: find(db, 1, "key")) == "body"
    assert store.read_now(lambda db: find(db, 1, "another key")) is None
    assert store.read_now(lambda db: find(db, 2, "key")) is None


@pytest.mark.parametrize(("keep", "find", "table"), BY_LOT.values(), ids=BY_LOT)
def test_a_newer_answer_of_a_lot_takes_the_place_of_the_older(
    store: Store, keep: Keep, find: Find, table: str
) -> None:
    def change(db: Cursor) -> None:
        keep(db, 1, "old", "first")
        keep(db, 2, "old", "of another lot")
        keep(db, 1, "new", "second")

    store.write_now(change)
    assert store.read_now(lambda db: find(db, 1, "old")) is None
    assert store.read_now(lambda db: find(db, 1, "new")) == "second"
    assert store.read_now(lambda db: find(db, 2, "old")) == "of another lot"
    assert counts(store)[table] == 2


@pytest.mark.parametrize(("keep", "find", "table"), BY_LOT.values(), ids=BY_LOT)
def test_an_answer_kept_again_takes_the_place_of_one_that_could_not_be_read(
    store: Store, keep: Keep, find: Find, table: str
) -> None:
    store.write_now(lambda db: keep(db, 1, "key", "first"))
    store.write_now(lambda db: keep(db, 1, "key", "again"))
    assert store.read_now(lambda db: find(db, 1, "key")) == "again"
    assert counts(store)[table] == 1


def test_a_summary_is_found_by_its_rows_and_its_rules(store: Store) -> None:
    rows_keys = {1: "rows-1", 2: "rows-2", 3: "rows-3"}
    bodies = {1: "one", 2: "two"}
    store.write_now(lambda db: memos.keep_summaries(db, "rules", rows_keys, bodies))

    def found(rules_key: str, wanted: dict[int, str]) -> dict[int, str]:
        return store.read_now(lambda db: memos.find_summaries(db, rules_key, wanted))

    assert found("rules", rows_keys) == bodies
    assert found("rules", {2: "rows-2"}) == {2: "two"}
    assert found("other rules", rows_keys) == {}
    assert found("rules", {1: "more rows", 2: "rows-2"}) == {2: "two"}
    # Keys that exist, but of each other's stretch.
    assert found("rules", {1: "rows-2", 2: "rows-1"}) == {}
    assert found("rules", {}) == {}


def test_summaries_of_fewer_rows_are_dropped_and_other_rules_keep_theirs(store: Store) -> None:
    def change(db: Cursor) -> None:
        memos.keep_summaries(db, "rules", {1: "few", 2: "rows-2"}, {1: "old", 2: "two"})
        memos.keep_summaries(db, "other rules", {1: "few"}, {1: "elsewhere"})
        memos.keep_summaries(db, "rules", {1: "more", 2: "rows-2"}, {1: "new"})
        memos.keep_summaries(db, "rules", {1: "yet more"}, {})

    store.write_now(change)
    kept = rows_of(
        store, "SELECT rules_key, stretch_key, rows_key, body FROM stretch_summaries ORDER BY ALL"
    )
    assert kept == [
        ("other rules", 1, "few", "elsewhere"),
        ("rules", 1, "more", "new"),
        ("rules", 2, "rows-2", "two"),
    ]


def fill(db: Cursor) -> None:
    memos.keep_summaries(db, "rules", {1: "rows"}, {1: "body"})
    memos.keep_lives(db, 1, "key", "body")
    memos.keep_evaluation(db, 1, "key", "body")


def test_forgetting_deletes_every_kept_answer_and_no_fact(store: Store) -> None:
    upload(store, cycle_columns())
    store.write_now(fill)
    facts = fact_counts(store)
    assert counts(store) == dict.fromkeys(TABLES, 1)
    store.write_now(memos.forget_all)
    assert counts(store) == dict.fromkeys(TABLES, 0)
    assert fact_counts(store) == facts


def test_one_kind_can_be_forgotten_and_a_table_of_facts_cannot(store: Store) -> None:
    store.write_now(fill)
    store.write_now(lambda db: memos.forget_all(db, ["lot_lives"]))
    assert counts(store) == {"stretch_summaries": 1, "lot_lives": 0, "lot_evaluations": 1}
    upload(store, cycle_columns())
    with pytest.raises(KeyError):
        store.write_now(lambda db: memos.forget_all(db, ["cycle_rows"]))
    assert fact_counts(store)["cycle_rows"] == 20
