"""Blocks of a lot: read only when they are asked for, kept once, joined to each reading."""

from __future__ import annotations

from typing import Any

import msgspec
import numpy as np
import pytest
from leak_tables import LOT, SHORT_ONSET, file_of, leaking_decay, onset_spec, run_table
from lots_by_hand import lot_id_of
from msgspec import structs
from uploads_by_hand import rows_of, upload

from schemas.specs import Spec
from service.storage.blocks import BlockStage
from service.storage.store import Cursor, Store
from service.workflows import decay_blocks
from service.workflows.decay_blocks import BlocksWanted, with_blocks, with_blocks_for_onset
from service.workflows.reduce_lot import read_lot
from service.workflows.stretch_summaries import StretchReadings, summarise

SEARCHES = msgspec.convert(
    onset_spec("S-1", target=10_000, units=22, onset=SHORT_ONSET, fails=False), Spec
)
ASKS_NOTHING = msgspec.convert(
    onset_spec("S-2", target=10_000, units=22, onset=None, fails=False), Spec
)
SOUND = leaking_decay(400, onset=np.inf, growth_mpa_per_1000=0.0)


@pytest.fixture
def told(store: Store) -> Store:
    """Two runs of one unit: 400 and 250 cycles."""
    first = run_table("U-001", SOUND, stop="GUARD")
    upload(store, file_of(first, run_table("U-001", SOUND[:250], run_id="run-2", hours=3)))
    return store


def read(store: Store, spec: Spec, *, keep: bool) -> list[StretchReadings]:
    lot_id = lot_id_of(store, LOT)

    def change(db: Cursor) -> list[StretchReadings]:
        facts = read_lot(db, lot_id).facts
        readings = summarise(db, facts, spec, keep=keep)
        return [*with_blocks_for_onset(db, facts, spec, readings, keep=keep).values()]

    return store.write_now(change)


def counts(readings: list[StretchReadings]) -> list[list[int]]:
    return [each.as_stored[0].blocks.counted_cycles for each in readings]  # type: ignore[union-attr]


def test_a_specification_that_asks_for_no_search_pays_for_no_block(
    told: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: Any) -> None:
        raise AssertionError("rows were read for blocks")

    monkeypatch.setattr(BlockStage, "read", refuse)
    assert all(each.as_stored[0].blocks is None for each in read(told, ASKS_NOTHING, keep=True))
    with pytest.raises(AssertionError, match="read for blocks"):
        read(told, SEARCHES, keep=True)


def test_blocks_end_with_their_stretch(told: Store) -> None:
    assert counts(read(told, SEARCHES, keep=False)) == [[100] * 4, [100, 100, 50]]


def test_kept_blocks_are_not_read_again_and_say_the_same(
    told: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = read(told, SEARCHES, keep=True)
    assert len(rows_of(told, "SELECT stretch_key FROM stretch_blocks")) == 2

    def refuse(*_: Any) -> None:
        raise AssertionError("rows were read for blocks")

    monkeypatch.setattr(BlockStage, "read", refuse)
    assert read(told, SEARCHES, keep=True) == first
    shorter = structs.replace(SEARCHES.reduction.onset, block_cycles=50)
    other = structs.replace(SEARCHES, reduction=structs.replace(SEARCHES.reduction, onset=shorter))
    with pytest.raises(AssertionError, match="read for blocks"):
        read(told, other, keep=True)


def test_more_rows_of_a_stretch_replace_its_blocks_and_no_others(told: Store) -> None:
    read(told, SEARCHES, keep=True)
    upload(told, file_of(run_table("U-001", SOUND, run_id="run-2", hours=3)))
    assert counts(read(told, SEARCHES, keep=True)) == [[100] * 4, [100] * 4]
    assert len(rows_of(told, "SELECT stretch_key FROM stretch_blocks")) == 2


def test_stretches_read_in_parts_have_the_same_blocks(
    told: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = read(told, SEARCHES, keep=False)
    monkeypatch.setattr(decay_blocks, "MOST_ROWS_AT_ONCE", 1)
    assert read(told, SEARCHES, keep=False) == whole


def test_details_are_kept_under_a_name_of_their_own(told: Store) -> None:
    read(told, SEARCHES, keep=True)

    def change(db: Cursor) -> list[StretchReadings]:
        facts = read_lot(db, lot_id).facts
        readings = summarise(db, facts, SEARCHES, keep=False)
        wanted = BlocksWanted(block_cycles=100, with_details=True, keep=True)
        return [*with_blocks(db, facts, SEARCHES, readings, wanted).values()]

    lot_id = lot_id_of(told, LOT)
    detailed = told.write_now(change)
    peaks = [each.as_stored[0].blocks.pressure_peak_mpa for each in detailed]  # type: ignore[union-attr]
    assert peaks == [[33.25] * 4, [33.25] * 3]
    assert len(rows_of(told, "SELECT stretch_key FROM stretch_blocks")) == 4
