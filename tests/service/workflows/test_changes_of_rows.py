"""Withdrawals and corrections as the standing of decisions asks for them."""

from __future__ import annotations

import pytest
from lots_by_hand import GOOD, LOT, add_rows, lot_id_of, run_rows, unit_key_of
from stores import StandingClock

from schemas.corrections import NamedUnit, NewCorrection, NewWithdrawal
from service.storage import units
from service.storage.store import Store
from service.tokens import Actor
from service.workflows.changes_of_rows import changes_of_rows, changes_of_unit
from service.workflows.correct_rows import Corrections
from service.workflows.reduce_lot import read_lot
from service.workflows.withdraw_upload import Withdrawals

pytestmark = pytest.mark.anyio
PERSON = Actor(name="A. Tester", kind="PERSON", scopes=frozenset({"holds.sign"}))


async def test_each_change_names_its_record_and_its_units(
    store: Store, clock: StandingClock
) -> None:
    first = add_rows(store, run_rows("001", "run-1", [GOOD] * 3))
    add_rows(store, run_rows("O02", "run-2", [GOOD] * 3, hour=3))
    body = NewWithdrawal(meaning="withdrawn", reason="another bench")
    await Withdrawals(store, clock).withdraw(first.upload_id, body, PERSON)
    correction = NewCorrection(
        correction_key="c1",
        written=NamedUnit(lot_number=LOT, unit_serial="O02"),
        belongs_to=NamedUnit(lot_number=LOT, unit_serial="002"),
        meaning="corrected",
        reason="label read again",
    )
    await Corrections(store, clock).correct(correction, PERSON)
    lot_id = lot_id_of(store)
    withdrawn, corrected = store.read_now(lambda db: changes_of_rows(db, read_lot(db, lot_id)))
    assert (withdrawn.change.kind, withdrawn.change.record_id) == (
        "UPLOAD_WITHDRAWN",
        first.upload_id,
    )
    assert (corrected.change.kind, corrected.change.record_id) == ("SERIAL_CORRECTED", "c1")
    assert withdrawn.entry_no < corrected.entry_no
    assert (len(withdrawn.unit_ids), len(corrected.unit_ids)) == (1, 2)
    unit_key = unit_key_of(store, "002")
    [unit] = [
        each.unit
        for each in store.read_now(lambda db: units.list_units(db, 1, after=0, limit=9))
        if each.unit_key == unit_key
    ]
    told = store.read_now(lambda db: changes_of_unit(db, unit))
    assert [each.record_id for each in told] == ["c1"]
