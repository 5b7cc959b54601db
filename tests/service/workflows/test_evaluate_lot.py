"""Equal facts give an equal answer under an equal key, kept or not; a what-if is never kept."""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import Any

import msgspec
import pytest
from bodies import attribute_spec, lives_table, run_outs
from lots_by_hand import (
    GOOD,
    LOT,
    LOW,
    add_rows,
    approved,
    assign,
    at,
    lot_id_of,
    lot_key_of,
    register,
    run_rows,
)
from uploads_by_hand import RECEIVED, rows_of, upload

from schemas.decisions import Evaluation
from service.errors import NotFound
from service.storage import memos
from service.storage.store import Store
from service.workflows.evaluate_lot import evaluate, evaluation_key, is_kept, refresh_lots
from service.workflows.reduce_lot import read_lot

SERIALS = [f"{number:03}" for number in range(1, 7)]
KEPT_KEYS = "SELECT evaluation_key FROM lot_evaluations ORDER BY 1"


def look(store: Store, spec: str | None = None, lot_number: str = LOT) -> Evaluation:
    lot_id = lot_id_of(store, lot_number)
    return store.read_now(lambda db: evaluate(db, lot_id, spec))


def look_and_keep(store: Store, spec: str | None = None) -> Evaluation:
    lot_id = lot_id_of(store)
    return store.write_now(lambda db: evaluate(db, lot_id, spec, keep=True))


def key_of(store: Store) -> str:
    lot_id = lot_id_of(store)
    return store.read_now(lambda db: evaluation_key(read_lot(db, lot_id)))


def kept(store: Store) -> bool:
    lot_id = lot_id_of(store)
    return store.read_now(lambda db: is_kept(db, lot_id))


@pytest.fixture
def finished(store: Store) -> Store:
    """A lot whose six units all reached the target, as its specification demands."""
    register(store)
    assign(store, approved(store))
    upload(store, lives_table(run_outs(LOT, SERIALS)))
    return store


@pytest.fixture
def running(store: Store) -> Store:
    """A lot of which one unit has rows."""
    register(store)
    assign(store, approved(store))
    add_rows(store, run_rows("001", "run-1", [GOOD, LOW, GOOD]))
    return store


def test_a_lot_is_judged_by_its_own_specification(finished: Store) -> None:
    # Six run-outs and no failure are the plan of `attribute_spec`.
    evaluation = look(finished)
    assert (evaluation.verdict, evaluation.what_if) == ("ACCEPT", False)
    assert msgspec.to_builtins(evaluation.spec) == {
        "spec_id": "CC25-A",
        "version": 1,
        "hash": evaluation.spec.hash,  # type: ignore[union-attr]
    }
    assert evaluation.provenance.facts_as_of == RECEIVED


# The key -------------------------------------------------------------------------------------


def test_answer_and_key_are_the_same_kept_or_not(finished: Store) -> None:
    computed = look(finished)
    key = key_of(finished)
    assert computed.provenance.evaluation_key == key
    assert not kept(finished)
    assert look_and_keep(finished) == computed
    assert kept(finished)
    assert rows_of(finished, KEPT_KEYS) == [(key,)]
    assert look(finished) == computed
    finished.write_now(memos.forget_all)
    assert not kept(finished)
    assert (look(finished), key_of(finished)) == (computed, key)


def test_a_kept_answer_is_read_and_not_computed(finished: Store) -> None:
    marked = msgspec.structs.replace(look(finished), marks=["KEPT"])
    key, body = key_of(finished), msgspec.json.encode(marked).decode()
    lot_key = lot_key_of(finished)
    finished.write_now(lambda db: memos.keep_evaluation(db, lot_key, key, body))
    assert look(finished) == marked


def test_a_look_that_does_not_keep_stores_nothing(finished: Store) -> None:
    lot_id = lot_id_of(finished)
    finished.write_now(lambda db: evaluate(db, lot_id))
    for table in ("stretch_summaries", "lot_lives", "lot_evaluations"):
        assert rows_of(finished, f"SELECT count(*) FROM {table}") == [(0,)]


def test_repeats_of_what_is_stored_change_neither_answer_nor_key(
    running: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, key = look(running), key_of(running)
    monkeypatch.setattr("uploads_by_hand.RECEIVED", RECEIVED + timedelta(hours=1))
    add_rows(running, run_rows("001", "run-1", [GOOD, LOW, GOOD]), compression="gzip")
    # Nothing was kept, so this is computed from the facts with the repeat among them.
    assert (look(running), key_of(running)) == (before, key)


def test_a_newer_answer_takes_the_place_of_the_older(running: Store) -> None:
    first = look_and_keep(running).provenance.evaluation_key
    add_rows(running, run_rows("001", "run-1", [GOOD, LOW, GOOD, GOOD]))
    assert not kept(running)
    second = look_and_keep(running).provenance.evaluation_key
    assert first != second
    assert rows_of(running, KEPT_KEYS) == [(second,)]


@pytest.mark.parametrize("changed", ["registration", "specification", "rows", "mark"])
def test_the_key_changes_with_what_the_answer_rests_on(store: Store, changed: str) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3))
    version = approved(store)
    if changed != "registration":
        register(store)
    if changed != "specification":
        assign(store, version)
    before = key_of(store)
    if changed == "registration":
        register(store)
    elif changed == "specification":
        assign(store, version)
    elif changed == "rows":
        add_rows(store, run_rows("001", "run-1", [GOOD] * 4))
    else:
        assign(store, version, at_instant=at(1))
    assert key_of(store) != before


# What-if -------------------------------------------------------------------------------------


def test_a_what_if_is_marked_and_never_kept(finished: Store) -> None:
    own = look_and_keep(finished)
    plan = attribute_spec()["plan"] | {"unit_count": 7}
    approved(finished, "CC25-B", plan=plan)
    facts_kept = {
        table: rows_of(finished, f"SELECT * FROM {table}")
        for table in ("stretch_summaries", "lot_lives", "lot_evaluations")
    }
    what_if = look_and_keep(finished, "CC25-B")
    assert what_if.what_if
    assert what_if.verdict == "CONTINUE"  # six of seven units are not the whole plan
    assert what_if.provenance.evaluation_key != own.provenance.evaluation_key
    for table, before in facts_kept.items():
        assert rows_of(finished, f"SELECT * FROM {table}") == before
    assert look(finished) == own


def test_naming_the_lots_own_specification_is_no_what_if(finished: Store) -> None:
    own = look(finished)
    assert look(finished, "CC25-A") == look(finished, "CC25-A:1") == own


def test_a_what_if_on_a_lot_without_a_specification_is_marked_too(store: Store) -> None:
    upload(store, lives_table(run_outs(LOT, SERIALS)))
    approved(store)
    evaluation = look_and_keep(store, "CC25-A")
    assert (evaluation.what_if, evaluation.verdict) == (True, "ACCEPT")
    assert rows_of(store, KEPT_KEYS) == []
    assert look(store).verdict == "HOLD"


# Marks ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("assigned_after_s", "is_marked"), [(-3600.0, False), (0.0, False), (0.001, True)]
)
def test_a_specification_that_came_after_the_first_row_is_marked(
    store: Store, assigned_after_s: float, is_marked: bool
) -> None:
    first, *_ = rows = run_rows("001", "run-1", [GOOD] * 3)
    add_rows(store, rows)
    assigned = first["started_at"] + timedelta(seconds=assigned_after_s)
    assign(store, approved(store), at_instant=assigned.astimezone(UTC))
    assert ("SPEC_AFTER_DATA" in look(store).marks) is is_marked


def test_rows_that_start_before_the_assignment_mark_it_when_they_come(running: Store) -> None:
    # The fixture's specification was assigned an hour before the first row.
    assert "SPEC_AFTER_DATA" not in look(running).marks
    add_rows(running, run_rows("002", "run-0", [GOOD], hour=-2))
    assert "SPEC_AFTER_DATA" in look(running).marks


def test_a_lot_that_nobody_registered_is_held_with_its_figures(store: Store) -> None:
    upload(store, lives_table(run_outs(LOT, SERIALS)))
    evaluation = look(store)
    assert (evaluation.verdict, evaluation.spec) == ("HOLD", msgspec.UNSET)
    assert [reason.code for reason in evaluation.reasons] == ["NO_SPEC"]
    assert "UNREGISTERED" in evaluation.marks
    assert evaluation.evidence.unit_count == 6
    register(store)
    registered = look(store)
    assert "UNREGISTERED" not in registered.marks
    assert registered.verdict == "HOLD"


# Refreshing ----------------------------------------------------------------------------------


def test_refreshing_keeps_answers_of_the_named_lots_only(finished: Store) -> None:
    other = "CC25-0118"
    upload(finished, lives_table(run_outs(other, ["001"])))
    lot_key = lot_key_of(finished)
    finished.write_now(lambda db: refresh_lots(db, [lot_key]))
    assert rows_of(finished, "SELECT lot_key FROM lot_evaluations") == [(lot_key,)]
    assert rows_of(finished, "SELECT lot_key FROM lot_lives") == [(lot_key,)]
    both = [lot_key, lot_key_of(finished, other)]
    finished.write_now(lambda db: refresh_lots(db, both))
    keys: list[Any] = [row[0] for row in rows_of(finished, "SELECT lot_key FROM lot_evaluations")]
    assert sorted(keys) == both


def test_what_is_not_there_is_not_found(finished: Store) -> None:
    with pytest.raises(NotFound):
        finished.read_now(lambda db: evaluate(db, "lot_nowhere"))
    with pytest.raises(NotFound):
        look(finished, "CC25-Z")
