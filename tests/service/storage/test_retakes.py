"""Rows and lives taken anew leave what was taken before, under retired keys."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import pytest
from bodies import lives_table, run_outs
from lots_by_hand import GOOD, LOT, add_rows, run_rows
from stores import stamp
from uploads_by_hand import LIMITS, rows_of, upload

from schemas.corrections import NewWithdrawal
from service.intake.parquet import read_profile
from service.storage import retakes, withdrawals
from service.storage.arrivals_file import Arrival
from service.storage.originals import original_path
from service.storage.retakes import KeptUpload
from service.storage.store import Cursor, Store

BODY = NewWithdrawal(meaning="withdrawn", reason="rows of another bench")


class Originals:
    """Opens originals where they lie, and remembers which were asked for."""

    def __init__(self, store: Store) -> None:
        self._folder = store.originals_folder
        self.opened: list[int] = []

    @contextlib.contextmanager
    def __call__(self, kept: KeptUpload) -> Iterator[Arrival]:
        self.opened.append(kept.upload_key)
        path = original_path(self._folder, kept.sha256)
        yield Arrival(
            path=path,
            profile=read_profile(path, LIMITS),
            sha256=kept.sha256,
            byte_count=kept.byte_count,
            received_at=kept.received_at,
            received_from=kept.received_from,
            max_string_length=200,
        )


@pytest.fixture
def originals(store: Store) -> Originals:
    return Originals(store)


def test_only_uploads_that_touch_the_places_are_read_again(
    store: Store, originals: Originals
) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 6)
    gone = add_rows(store, rows[:4])
    add_rows(store, rows[2:])
    add_rows(store, run_rows("001", "run-2", [GOOD] * 3, hour=2))
    found = store.read_now(lambda db: retakes.places_of_upload(db, 1))
    assert found == [("RIG-A", "run-1", 1)]

    def change(db: Cursor) -> None:
        withdrawals.add_withdrawal(db, 1, gone.upload_id, BODY, stamp())
        retakes.retake_places(db, found, "wd_1", originals)

    store.write_now(change)
    assert originals.opened == [2]
    assert rows_of(store, "SELECT stretch_key, change_id FROM retired_stretches") == [(1, "wd_1")]
    assert rows_of(store, "SELECT stretch_key, run_id FROM stretch_bases ORDER BY 1") == [
        (2, "run-2"),
        (3, "run-1"),
    ]
    # All rows ever stored are there still: 4 and 2 before, 4 taken anew, 3 elsewhere.
    assert rows_of(store, "SELECT count(*) FROM cycle_rows") == [(13,)]
    assert rows_of(
        store, "SELECT stored_rows, duplicate_rows FROM upload_stretches WHERE upload_key = 2"
    ) == [(4, 0)]


def test_an_upload_after_a_retake_adds_to_the_stretch_that_stands(
    store: Store, originals: Originals
) -> None:
    rows = run_rows("001", "run-1", [GOOD] * 6)
    add_rows(store, rows[:3])
    place = ("RIG-A", "run-1", 1)
    store.write_now(lambda db: retakes.retake_places(db, [place], "x", originals))
    receipt = add_rows(store, rows)
    assert (receipt.stored_rows, receipt.duplicate_rows) == (3, 3)
    assert rows_of(store, "SELECT stretch_key FROM stretch_bases") == [(2,)]
    store.write_now(lambda db: retakes.retake_places(db, [], "y", originals))
    assert originals.opened == [1]


def test_lives_are_taken_anew_without_the_withdrawn_upload(
    store: Store, originals: Originals
) -> None:
    gone = upload(store, lives_table(run_outs(LOT, ["001", "002"]))).receipt
    upload(store, lives_table(run_outs(LOT, ["002", "003"])))
    upload(store, lives_table(run_outs("CC25-0118", ["001"])))
    assert store.read_now(lambda db: retakes.lots_of_lives(db, 1)) == [LOT]

    def change(db: Cursor) -> None:
        withdrawals.add_withdrawal(db, 1, gone.upload_id, BODY, stamp())
        retakes.retake_lives(db, [LOT], "wd_1", originals)

    store.write_now(change)
    assert originals.opened == [2]
    standing = "SELECT upload_key, unit_serial FROM uploaded_lives JOIN units USING (unit_key) "
    assert rows_of(store, standing + "ORDER BY ALL") == [(2, "002"), (2, "003"), (3, "001")]
    assert rows_of(store, "SELECT count(*) FROM taken_lives") == [(6,)]
    store.write_now(lambda db: retakes.retake_lives(db, [], "x", originals))
    store.write_now(lambda db: retakes.retake_lives(db, [LOT], "y", originals))
    assert rows_of(store, standing + "ORDER BY ALL") == [(2, "002"), (2, "003"), (3, "001")]
