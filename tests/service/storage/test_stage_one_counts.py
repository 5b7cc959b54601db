"""Counts up to places in the rows, with what declared thinning left out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from lots_by_hand import GOOD, LOW, add_rows, run_rows
from stores import open_store

from analysis.reduction.rules import mode_parameters, stage_one_parameters
from analysis.reduction.tallies import counts_of
from analysis.reduction.without_spec import permissive_spec
from service.storage.stage_one_counts import LATEST
from service.storage.store import Cursor, Store
from service.storage.summaries import StageOne
from service.workflows.stage_one_texts import stage_one_texts


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path)
    yield opened
    opened.close()


def counted_at(store: Store, *counters: int) -> list[tuple[int, int]]:
    """Counted and logged cycles of the only stretch up to some counters."""

    def question(db: Cursor) -> list[tuple[int, int]]:
        ((key,),) = db.execute("SELECT stretch_key FROM stretch_bases").fetchall()
        points = [(n, key, 1, counter, LATEST) for n, counter in enumerate(counters)]
        chosen = permissive_spec()
        parameters = stage_one_parameters(chosen, None) | mode_parameters([])
        found = StageOne(db, stage_one_texts(), parameters, None).counted_at(points)
        counts = [counts_of(found.get(n, [])) for n in range(len(counters))]
        return [(each.counted_cycles, each.logged_cycles) for each in counts]

    return store.read_now(question)


def test_cycles_are_counted_up_to_each_place(store: Store) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 10))
    assert counted_at(store, 0, 4, 99) == [(0, 0), (4, 4), (10, 10)]


def test_thinned_rows_bring_what_they_left_out_up_to_the_place(store: Store) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 41, logged_every=10)[::10]
    add_rows(store, rows)
    # Rows 1, 11, 21, 31, 41: between two of them nine cycles; a place inside earns nothing yet.
    assert counted_at(store, 1, 11, 20, 41) == [(1, 1), (11, 2), (11, 2), (41, 5)]


def test_a_row_out_of_step_or_without_a_reading_earns_none(store: Store) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 41, logged_every=10)[::10]
    rows[2]["pressure_peak_mpa"] = -LOW
    del rows[4]
    rows += run_rows("001", "run-1", [GOOD] * 46, logged_every=10)[45:]
    add_rows(store, rows)
    # 1 and 11 are neighbours; 21 does not count; 31 and 46 are fifteen apart, not ten.
    assert counted_at(store, 46) == [(13, 5)]
