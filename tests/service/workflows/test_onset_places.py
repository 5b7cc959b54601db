"""The place of an onset that is a failure: counted in the rows, exact to the cycle."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest
from leak_tables import LOT, SHORT_ONSET, file_of, leaking_decay, onset_spec, run_table
from lots_by_hand import lot_id_of
from uploads_by_hand import upload

from analysis.reduction.lives import reduce_unit
from schemas.lives import UnitLife
from schemas.specs import Spec
from schemas.unit_evidence import UnitEvidence
from service.storage.store import Cursor, Store
from service.workflows.decay_blocks import with_blocks_for_onset
from service.workflows.gather_evidence import gather_evidence
from service.workflows.onset_places import with_located_onsets
from service.workflows.reduce_lot import read_lot
from service.workflows.stretch_summaries import summarise


def spec(*, fails: bool) -> Spec:
    body = onset_spec("CC25-ONSET", target=10_000, units=22, onset=SHORT_ONSET, fails=fails)
    return msgspec.convert(body, Spec)


@pytest.fixture
def told(store: Store) -> Store:
    """A leak from counted cycle 6,000 on; ten cycles before it and forty after it are short."""
    decay = leaking_decay(10_100, onset=6_010, growth_mpa_per_1000=0.1)
    counts = np.ones(10_100, dtype=bool)
    counts[5_000:5_010] = False
    counts[9_000:9_040] = False
    upload(store, file_of(run_table("U-001", decay, stop="GUARD", counts=counts)))
    return store


def evidence(store: Store, *, fails: bool) -> UnitEvidence:
    lot_id, chosen = lot_id_of(store, LOT), spec(fails=fails)

    def question(db: Cursor) -> UnitEvidence:
        facts = read_lot(db, lot_id).facts
        readings = summarise(db, facts, chosen, keep=False)
        readings = with_blocks_for_onset(db, facts, chosen, readings, keep=False)
        gathered = gather_evidence(db, facts, chosen, readings)
        [found] = with_located_onsets(db, facts, chosen, gathered)
        return found

    return store.write_now(question)


def life(store: Store, *, fails: bool) -> UnitLife:
    return reduce_unit(evidence(store, fails=fails), spec(fails=fails))


def test_cycles_up_to_the_onset_are_counted_in_the_rows(told: Store) -> None:
    found = evidence(told, fails=True).located_onset
    assert found is not None
    # Ten rows before the onset do not count; the forty after it are no part of the life.
    assert found.logged_cycles == found.counted_cycles + 10
    assert found.up_to.under_pressure_cycles == 10
    lived = life(told, fails=True)
    assert lived.up_to_ending.counted_cycles == found.counted_cycles
    assert lived.up_to_ending.logged_cycles == found.logged_cycles


def test_where_onset_is_no_failure_nothing_is_located(told: Store) -> None:
    assert evidence(told, fails=False).located_onset is None


def test_a_unit_without_an_onset_has_no_place(store: Store) -> None:
    sound = leaking_decay(5_000, onset=np.inf, growth_mpa_per_1000=0.0)
    upload(store, file_of(run_table("U-001", sound, stop="GUARD")))
    assert evidence(store, fails=True).located_onset is None
