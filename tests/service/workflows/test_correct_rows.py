"""Rows written under a wrong serial or lot count for the unit that they belong to."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import msgspec
import pytest
from bodies import lives_table
from changed_rows import all_rows, lives_in, overlapping, received
from lots_by_hand import GOOD, LOT, add_rows, at, inspect, register, run_rows
from stores import StandingClock, open_store, stamp
from uploads_by_hand import rows_of, upload

from schemas.corrections import Correction, NewCorrection, NewWithdrawal
from service.errors import AlreadyExists, Conflict, InvalidRequest, NotFound, PersonNeeded
from service.storage import corrections as stored
from service.storage import lots
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows.correct_rows import Corrections
from service.workflows.withdraw_upload import Withdrawals

pytestmark = pytest.mark.anyio
PERSON = Actor(name="A. Tester", kind="PERSON", scopes=frozenset({"holds.sign"}))


@pytest.fixture
def corrections(store: Store, clock: StandingClock) -> Corrections:
    return Corrections(store, clock)


def correction(key: str, written: str | None, belongs_to: str | None, **changes: Any) -> Any:
    """A correction within the lot unless `changes` say otherwise; they may narrow the scope."""
    lots = {"from_lot": changes.pop("from_lot", LOT), "to_lot": changes.pop("to_lot", LOT)}
    body = {
        "correction_key": key,
        "written": {"lot_number": lots["from_lot"], "unit_serial": written},
        "belongs_to": {"lot_number": lots["to_lot"], "unit_serial": belongs_to},
        "meaning": "serial corrected",
        "reason": "the label was read again",
        "scope": changes,
    }
    return msgspec.convert(body, NewCorrection)


async def correct(corrections: Corrections, body: NewCorrection) -> Correction:
    made, is_new = await corrections.correct(body, PERSON)
    assert is_new
    return made


def cycles(store: Store, lot_number: str = LOT) -> dict[str, int]:
    """Logged cycles by serial."""
    lives = lives_in(store, lot_number)
    return {life["unit_serial"]: life["totals"]["logged_cycles"] for life in lives}


@pytest.mark.parametrize("seed", range(6))
async def test_every_life_is_that_of_a_store_whose_files_named_the_right_serial(
    store: Store, clock: StandingClock, tmp_path: Path, seed: int
) -> None:
    rng = random.Random(100 + seed)
    files = overlapping(all_rows(rng), rng, 4)
    wrong, right = rng.sample(["001", "002", "003", "004"], 2)
    if not any(row["unit_serial"] == wrong for rows in files[:3] for row in rows):
        wrong, right = "001", "004"
        files[0][0]["unit_serial"] = "001"
    received(store, files[:3])
    await correct(Corrections(store, clock), correction("c1", wrong, right))
    received(store, files[3:])
    renamed = [
        [
            {**row, "unit_serial": right if row["unit_serial"] == wrong else row["unit_serial"]}
            for row in rows
        ]
        for rows in files
    ]
    fresh = open_store(tmp_path / "fresh")
    try:
        received(fresh, renamed)
        assert lives_in(store) == lives_in(fresh)
    finally:
        fresh.close()


async def test_uploads_that_arrive_later_with_the_same_serial_follow(
    store: Store, corrections: Corrections
) -> None:
    add_rows(store, run_rows("O01", "run-1", [GOOD] * 3))
    made = await correct(corrections, correction("c1", "O01", "001", rig_id="RIG-A"))
    assert cycles(store) == {"001": 3}
    receipt = add_rows(store, run_rows("O01", "run-1", [GOOD] * 5))
    assert (receipt.stored_rows, receipt.duplicate_rows) == (2, 3)
    add_rows(store, run_rows("O01", "run-2", [GOOD] * 4, hour=5))
    assert cycles(store) == {"001": 9}
    add_rows(store, run_rows("O01", "run-3", [GOOD] * 2, hour=9), received_at=None)
    [lot] = made.lots
    told = {unit.unit_serial: unit for unit in lot.units}
    assert told["O01"].after is msgspec.UNSET
    assert told["001"].before is msgspec.UNSET
    assert told["001"].after.counted_cycles == 3


async def test_rows_in_another_scope_stay(store: Store, corrections: Corrections) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3))
    second = add_rows(store, run_rows("001", "run-2", [GOOD] * 4, hour=2))
    await correct(corrections, correction("c1", "001", "002", run_id="run-2"))
    assert cycles(store) == {"001": 3, "002": 4}
    await correct(corrections, correction("c2", "001", "003", upload_id=second.upload_id))
    assert cycles(store) == {"001": 3, "003": 4}


async def test_a_run_is_split_at_the_cycle_where_the_unit_was_changed(
    store: Store, corrections: Corrections
) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 10))
    body = correction("c1", "001", "002", run_id="run-1", first_cycle_in_run=7)
    await correct(corrections, body)
    assert cycles(store) == {"001": 6, "002": 4}
    add_rows(store, run_rows("001", "run-1", [GOOD] * 12))
    assert cycles(store) == {"001": 6, "002": 6}


async def test_a_run_is_split_at_an_instant(store: Store, corrections: Corrections) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 10))
    window = {"started_from": at(0, 4), "started_before": at(0, 9)}
    await correct(corrections, correction("c1", "001", "002", **window))
    assert cycles(store) == {"001": 5, "002": 5}


async def test_a_later_correction_supersedes_and_one_to_itself_takes_back(
    store: Store, corrections: Corrections
) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3))
    before = lives_in(store)
    await correct(corrections, correction("c1", "001", "002"))
    await correct(corrections, correction("c2", "001", "003"))
    assert cycles(store) == {"003": 3}
    await correct(corrections, correction("c3", "001", "001"))
    assert lives_in(store) == before
    assert [
        each.correction.correction_key for _, each in await corrections.all(None, after=0, limit=9)
    ] == ["c1", "c2", "c3"]


async def test_two_serials_that_were_taken_for_each_other_change_places(
    store: Store, corrections: Corrections
) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 3) + run_rows("002", "run-1", [GOOD] * 5, station_no=2)
    add_rows(store, rows)
    await correct(corrections, correction("c1", "001", "002"))
    await correct(corrections, correction("c2", "002", "001"))
    assert cycles(store) == {"001": 5, "002": 3}


async def test_rows_of_a_wrong_lot_go_to_the_right_one_with_their_serials(
    store: Store, corrections: Corrections
) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 3, lot_number="CC25-0171")
    add_rows(store, rows + run_rows("002", "run-1", [GOOD] * 2, station_no=2, hour=5))
    made = await correct(corrections, correction("c1", None, None, from_lot="CC25-0171"))
    assert cycles(store) == {"001": 3, "002": 2}
    assert cycles(store, "CC25-0171") == {}
    assert sorted(lot.lot_number for lot in made.lots) == [LOT, "CC25-0171"]


async def test_rows_that_came_under_both_serials_are_duplicates(
    store: Store, corrections: Corrections
) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 5))
    add_rows(store, run_rows("O01", "run-1", [GOOD] * 3 + [33.5, GOOD, GOOD]))
    await correct(corrections, correction("c1", "O01", "001"))
    assert cycles(store) == {"001": 6}
    [tally] = rows_of(
        store,
        "SELECT stored_rows, duplicate_rows, conflicting_rows FROM upload_stretches "
        "WHERE upload_key = 2",
    )
    assert tally == (1, 4, 1)


async def test_lives_follow_a_correction_and_a_withdrawal(
    store: Store, corrections: Corrections, clock: StandingClock
) -> None:
    def life(serial: str, count: int) -> dict[str, Any]:
        return {"lot_number": LOT, "unit_serial": serial, "ending": "RUN_OUT", "cycles": count}

    first = upload(store, lives_table([life("O01", 500), life("002", 600)])).receipt
    second = upload(store, lives_table([life("002", 600), life("003", 700)])).receipt
    assert (second.stored_rows, second.duplicate_rows) == (1, 1)
    await correct(corrections, correction("c1", "O01", "001"))
    counts = {each["unit_serial"]: each["cycles"] for each in lives_in(store)}
    assert counts == {"001": 500, "002": 600, "003": 700}
    upload(store, lives_table([life("O01", 500), life("004", 100)]))
    body = NewWithdrawal(meaning="withdrawn", reason="another bench")
    await Withdrawals(store, clock).withdraw(first.upload_id, body, PERSON)
    counts = {each["unit_serial"]: each["cycles"] for each in lives_in(store)}
    assert counts == {"001": 500, "002": 600, "003": 700, "004": 100}
    assert rows_of(store, "SELECT count(*) FROM taken_lives")[0][0] > 4


async def test_a_withdrawn_upload_stays_withdrawn_through_a_correction(
    store: Store, corrections: Corrections, clock: StandingClock
) -> None:
    add_rows(store, run_rows("O01", "run-1", [GOOD] * 3))
    gone = add_rows(store, run_rows("O01", "run-1", [GOOD] * 8))
    body = NewWithdrawal(meaning="withdrawn", reason="another bench")
    await Withdrawals(store, clock).withdraw(gone.upload_id, body, PERSON)
    await correct(corrections, correction("c1", "O01", "001"))
    assert cycles(store) == {"001": 3}


async def test_a_correction_that_speaks_of_no_row_is_refused(
    store: Store, corrections: Corrections, actor: Actor
) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3))
    for body in (correction("c1", "010", "001"), correction("c1", "001", "002", run_id="run-9")):
        with pytest.raises(Conflict) as refusal:
            await corrections.correct(body, PERSON)
        assert refusal.value.code == "NOTHING_TO_CORRECT"
    with pytest.raises(NotFound):
        await corrections.correct(correction("c1", "001", "001", to_lot="CC25-9999"), PERSON)
    with pytest.raises(InvalidRequest):
        await corrections.correct(correction("c1", "001", None), PERSON)
    with pytest.raises(PersonNeeded):
        await corrections.correct(correction("c1", "001", "002"), actor)
    assert rows_of(store, "SELECT count(*) FROM corrections") == [(0,)]


async def test_a_key_means_one_correction(store: Store, corrections: Corrections) -> None:
    add_rows(store, run_rows("001", "run-1", [GOOD] * 3))
    register(store)
    body = correction("c1", "001", "002")
    made = await correct(corrections, body)
    assert await corrections.correct(body, PERSON) == (made, False)
    assert await corrections.find("c1") == made
    with pytest.raises(AlreadyExists):
        await corrections.correct(correction("c1", "001", "003"), PERSON)
    with pytest.raises(NotFound):
        await corrections.find("c2")


async def test_inspections_follow_a_correction_of_everything_named_so(
    store: Store, corrections: Corrections
) -> None:
    add_rows(store, run_rows("O01", "run-1", [GOOD] * 3))
    inspect(store, "O01", "I-1")
    await correct(corrections, correction("c1", "O01", "001"))
    assert cycles(store) == {"001": 3}
    [life] = lives_in(store)
    assert life["verified_cycles"] == 3


async def test_inspections_stay_under_a_narrower_correction(
    store: Store, corrections: Corrections
) -> None:
    add_rows(store, run_rows("O01", "run-1", [GOOD] * 3))
    inspect(store, "O01", "I-1")
    await correct(corrections, correction("c1", "O01", "001", rig_id="RIG-A"))
    assert cycles(store) == {"001": 3, "O01": 0}


@pytest.mark.parametrize("seed", range(3))
async def test_uploads_corrections_and_withdrawals_in_any_order_leave_the_same_lives(
    store: Store, clock: StandingClock, tmp_path: Path, seed: int
) -> None:
    """Reference: a store that knew every correction and got only the files that stand."""
    rng = random.Random(200 + seed)
    files = overlapping(all_rows(rng), rng, 5)
    bodies: list[NewCorrection] = []
    ids: list[str] = []
    gone: list[int] = []
    for rows in files:
        ids += received(store, [rows])
        serial = rng.choice([row["unit_serial"] for row in rows])
        scope = rng.choice([{}, {"run_id": f"{serial}-1"}, {"first_cycle_in_run": 4}])
        body = correction(f"c{len(bodies)}", serial, rng.choice(["001", "002", "009"]), **scope)
        try:
            await Corrections(store, clock).correct(body, PERSON)
            bodies.append(body)
        except Conflict as refusal:
            assert refusal.code == "NOTHING_TO_CORRECT"
        if rng.random() < 0.4 and len(gone) < 2:
            left = [number for number in range(len(ids)) if number not in gone]
            gone.append(rng.choice(left))
            signed = NewWithdrawal(meaning="withdrawn", reason="another bench")
            await Withdrawals(store, clock).withdraw(ids[gone[-1]], signed, PERSON)
    fresh = open_store(tmp_path / "fresh")
    try:
        lot_key = fresh.write_now(lambda db: lots.add_lot(db, LOT, stamp().at))

        def know(db: Cursor) -> None:
            for body in bodies:
                stored.add_correction(db, body, stamp())
            stored.touch_lots(db, "all", {lot_key: []})

        fresh.write_now(know)
        received(fresh, [rows for number, rows in enumerate(files) if number not in gone])
        assert lives_in(store) == lives_in(fresh)
    finally:
        fresh.close()
