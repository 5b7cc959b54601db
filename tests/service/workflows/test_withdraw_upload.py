"""A withdrawn upload counts no more, and everything stands as if it had never come."""

from __future__ import annotations

import random
from pathlib import Path

import msgspec
import pytest
from changed_rows import all_rows, lives_in, overlapping, received
from lots_by_hand import (
    GOOD,
    LOT,
    LOW,
    add_rows,
    approved,
    assign,
    lot_id_of,
    register,
    rows_table,
    run_rows,
)
from stores import StandingClock, open_store
from uploads_by_hand import rows_of, upload

from schemas.corrections import NewWithdrawal, Withdrawal
from schemas.uploads import UploadFindings
from service.errors import AlreadyExists, NotFound, PersonNeeded
from service.storage import memos, uploads
from service.storage.lot_facts import read_lot_facts
from service.storage.originals import original_path
from service.storage.store import Store
from service.storage.withdrawals import UploadWithdrawn
from service.tokens import Actor
from service.workflows.evaluate_lot import evaluate
from service.workflows.kept_originals import OriginalDamaged
from service.workflows.upload_findings import account_for
from service.workflows.withdraw_upload import Withdrawals

pytestmark = pytest.mark.anyio
PERSON = Actor(name="A. Tester", kind="PERSON", scopes=frozenset({"holds.sign"}))
BODY = NewWithdrawal(meaning="withdrawn", reason="rows of another bench")


@pytest.fixture
def withdrawals(store: Store, clock: StandingClock) -> Withdrawals:
    return Withdrawals(store, clock)


async def withdraw(withdrawals: Withdrawals, upload_id: str) -> Withdrawal:
    made, is_new = await withdrawals.withdraw(upload_id, BODY, PERSON)
    assert is_new
    return made


def findings(store: Store, upload_id: str) -> UploadFindings:
    return store.read_now(lambda db: account_for(db, uploads.find_upload(db, upload_id)[1]))


def counts(store: Store, upload_id: str) -> UploadFindings:
    """What is found, without the places: these stand in the order of the store's own keys."""
    return msgspec.structs.replace(findings(store, upload_id), findings=[])


def assert_reconciled(store: Store, upload_id: str) -> None:
    found = findings(store, upload_id)
    assert found.row_count == (
        found.counted_cycles
        + found.not_counted_cycles
        + found.duplicate_rows
        + found.conflicting_rows
        + found.without_spec_rows
        + found.withdrawn_rows
    )


@pytest.mark.parametrize("seed", range(8))
async def test_every_life_is_that_of_a_store_which_never_got_the_withdrawn_uploads(
    store: Store, clock: StandingClock, tmp_path: Path, seed: int
) -> None:
    rng = random.Random(seed)
    files = overlapping(all_rows(rng), rng, rng.randint(2, 5))
    version = approved(store)
    ids = received(store, files)
    register(store)
    assign(store, version)
    gone = rng.sample(range(len(files)), rng.randint(1, min(2, len(files) - 1)))
    lives_before = lives_in(store)
    withdrawals = Withdrawals(store, clock)
    for number in gone:
        await withdraw(withdrawals, ids[number])
    fresh = open_store(tmp_path / "fresh")
    try:
        received(fresh, [rows for number, rows in enumerate(files) if number not in gone])
        other_version = approved(fresh)
        register(fresh)
        assign(fresh, other_version)
        assert lives_in(store) == lives_in(fresh)
        for number, upload_id in enumerate(ids):
            assert_reconciled(store, upload_id)
            if number not in gone:
                assert counts(store, upload_id) == counts(fresh, upload_id)
    finally:
        fresh.close()
    assert lives_before  # the lot had lives to lose


async def test_rows_that_another_upload_brought_too_go_on_counting(
    store: Store, withdrawals: Withdrawals
) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 6)
    first = add_rows(store, rows[:4])
    second = add_rows(store, rows[2:])
    assert (second.stored_rows, second.duplicate_rows) == (2, 2)
    await withdraw(withdrawals, first.upload_id)
    [life] = lives_in(store)
    assert life["totals"]["logged_cycles"] == 4
    again = findings(store, second.upload_id)
    assert (again.duplicate_rows, again.without_spec_rows) == (0, 4)
    assert findings(store, first.upload_id).withdrawn_rows == 4


async def test_a_row_that_conflicted_with_a_withdrawn_one_takes_its_place(
    store: Store, withdrawals: Withdrawals
) -> None:
    first = add_rows(store, run_rows("001", "run-1", [GOOD, GOOD]))
    second = add_rows(store, run_rows("001", "run-1", [GOOD, LOW]))
    assert second.conflicting_rows == 1
    [life] = lives_in(store)
    assert [hold["name"] for hold in life["holds"]].count("CONFLICTING_ROWS") == 1
    await withdraw(withdrawals, first.upload_id)
    [life] = lives_in(store)
    assert "CONFLICTING_ROWS" not in [hold["name"] for hold in life["holds"]]
    assert rows_of(
        store,
        "SELECT cycle_in_run, pressure_peak_mpa FROM cycle_rows "
        "JOIN stretch_bases USING (stretch_key) ORDER BY 1",
    ) == [(1, GOOD), (2, LOW)]


async def test_nothing_is_deleted(store: Store, withdrawals: Withdrawals) -> None:
    receipt = add_rows(store, run_rows("001", "run-1", [GOOD] * 3))
    add_rows(store, run_rows("001", "run-1", [GOOD] * 5))
    before = {
        table: rows_of(store, f"SELECT count(*) FROM {table}")[0][0]
        for table in ("cycle_rows", "taken_stretches", "taken_tallies", "uploads", "units")
    }
    await withdraw(withdrawals, receipt.upload_id)
    for table, count in before.items():
        assert rows_of(store, f"SELECT count(*) FROM {table}")[0][0] >= count
    assert original_path(store.originals_folder, receipt.sha256).exists()
    assert list(store.spool_folder.iterdir()) == []


async def test_a_serial_that_only_the_withdrawn_upload_named_leaves_the_sample(
    store: Store, withdrawals: Withdrawals
) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD]))
    wrong = add_rows(store, run_rows("OO1", "run-2", [GOOD], hour=3))
    assert len(lives_in(store)) == 2
    made = await withdraw(withdrawals, wrong.upload_id)
    assert [life["unit_serial"] for life in lives_in(store)] == ["001"]
    [lot] = made.lots
    [unit] = [each for each in lot.units if each.unit_serial == "OO1"]
    assert unit.before.counted_cycles == 1
    assert unit.after is msgspec.UNSET
    assert lot.before.evaluation_key != lot.after.evaluation_key


async def test_the_receipt_says_by_whom_the_upload_was_withdrawn(
    store: Store, withdrawals: Withdrawals
) -> None:
    receipt = add_rows(store, run_rows("001", "run-1", [GOOD]))
    with pytest.raises(NotFound):
        await withdrawals.find(receipt.upload_id)
    made = await withdraw(withdrawals, receipt.upload_id)
    assert await withdrawals.find(receipt.upload_id) == made
    marked = store.read_now(lambda db: uploads.find_upload(db, receipt.upload_id))[1]
    assert (marked.withdrawn.withdrawn_by, marked.withdrawn.reason) == ("A. Tester", BODY.reason)
    listed = store.read_now(lambda db: uploads.list_uploads(db, after=0, limit=9, lot_key=1))
    assert [each.upload_id for _, each in listed] == [receipt.upload_id]


async def test_the_same_file_again_is_refused_and_says_how_to_bring_rows_back(
    store: Store, withdrawals: Withdrawals
) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 3)
    receipt = add_rows(store, rows)
    await withdraw(withdrawals, receipt.upload_id)
    with pytest.raises(UploadWithdrawn, match=r"A\. Tester withdrew"):
        add_rows(store, rows)
    anew = upload(store, rows_table(rows, compression="gzip")).receipt
    assert anew.stored_rows == 3
    assert lives_in(store)[0]["totals"]["logged_cycles"] == 3


async def test_a_repeat_gives_the_first_withdrawal_and_another_reason_is_refused(
    store: Store, withdrawals: Withdrawals
) -> None:
    receipt = add_rows(store, run_rows("001", "run-1", [GOOD]))
    made = await withdraw(withdrawals, receipt.upload_id)
    assert await withdrawals.withdraw(receipt.upload_id, BODY, PERSON) == (made, False)
    other = NewWithdrawal(meaning="withdrawn", reason="no reason")
    with pytest.raises(AlreadyExists):
        await withdrawals.withdraw(receipt.upload_id, other, PERSON)


async def test_only_a_person_withdraws(
    store: Store, withdrawals: Withdrawals, actor: Actor
) -> None:
    receipt = add_rows(store, run_rows("001", "run-1", [GOOD]))
    with pytest.raises(PersonNeeded):
        await withdrawals.withdraw(receipt.upload_id, BODY, actor)
    with pytest.raises(NotFound):
        await withdrawals.withdraw("up_none", BODY, PERSON)


async def test_a_damaged_original_of_a_sharing_upload_stops_the_withdrawal_whole(
    store: Store, withdrawals: Withdrawals
) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 4)
    first, second = add_rows(store, rows[:3]), add_rows(store, rows[1:])
    original = original_path(store.originals_folder, second.sha256)
    original.write_bytes(original.read_bytes()[:-1])
    lives = lives_in(store)
    with pytest.raises(OriginalDamaged, match=second.upload_id):
        await withdrawals.withdraw(first.upload_id, BODY, PERSON)
    assert lives_in(store) == lives
    assert rows_of(store, "SELECT count(*) FROM withdrawals") == [(0,)]


async def test_the_first_row_of_a_lot_is_that_of_what_still_counts(
    store: Store, withdrawals: Withdrawals
) -> None:
    early = add_rows(store, run_rows("001", "run-1", [GOOD] * 3, hour=-5))
    add_rows(store, run_rows("001", "run-2", [GOOD] * 3, hour=3))
    register(store)
    assign(store, approved(store))
    lot_id = lot_id_of(store)
    assert store.read_now(lambda db: evaluate(db, lot_id)).marks == ["SPEC_AFTER_DATA"]
    await withdraw(withdrawals, early.upload_id)
    assert store.read_now(lambda db: evaluate(db, lot_id)).marks == []
    assert LOT in str(store.read_now(lambda db: evaluate(db, lot_id)).lot_number)


async def test_deleting_every_memo_changes_no_answer_after_a_withdrawal(
    store: Store, withdrawals: Withdrawals
) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 6)
    first = add_rows(store, rows[:4])
    add_rows(store, rows[2:])
    register(store)
    assign(store, approved(store))
    await withdraw(withdrawals, first.upload_id)
    lot_id = lot_id_of(store)
    kept = store.write_now(lambda db: evaluate(db, lot_id, keep=True))
    store.write_now(memos.forget_all)
    assert store.read_now(lambda db: evaluate(db, lot_id)) == kept


async def test_a_rigs_clock_and_its_neighbours_forget_the_withdrawn_rows(
    store: Store, withdrawals: Withdrawals
) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 6))
    # Another serial at the same time on the same station: two units cannot both be there.
    wrong = add_rows(store, run_rows("002", "run-2", [GOOD] * 6))
    late = add_rows(store, run_rows("003", "run-3", [GOOD] * 6, hour=100, station_no=2))
    assert {hold["name"] for life in lives_in(store) for hold in life["holds"]} >= {
        "IDENTITY_CONFLICT"
    }
    lot_id = lot_id_of(store)
    clock_before = store.read_now(lambda db: read_lot_facts(db, lot_id)).stations
    await withdraw(withdrawals, wrong.upload_id)
    await withdraw(withdrawals, late.upload_id)
    facts = store.read_now(lambda db: read_lot_facts(db, lot_id))
    assert [life["unit_serial"] for life in lives_in(store)] == ["001"]
    assert "IDENTITY_CONFLICT" not in str(lives_in(store))
    assert max(each.last_started_at for each in facts.stations) < max(
        each.last_started_at for each in clock_before
    )
