"""A withdrawal is written once, and the file it names is refused from then on."""

from __future__ import annotations

import pytest
from lots_by_hand import GOOD, add_rows, run_rows
from stores import FIRST_INSTANT, stamp

from schemas.corrections import NewWithdrawal
from service.errors import NotFound
from service.storage import uploads, withdrawals
from service.storage.store import Store
from service.storage.withdrawals import UploadWithdrawn

BODY = NewWithdrawal(meaning="withdrawn", reason="rows of another bench")


def test_a_withdrawal_is_read_back_and_the_others_stand(store: Store) -> None:
    gone, kept = (add_rows(store, run_rows("001", run, [GOOD])) for run in ("run-1", "run-2"))
    key, receipt = store.read_now(lambda db: uploads.find_upload(db, gone.upload_id))
    other_key, other = store.read_now(lambda db: uploads.find_upload(db, kept.upload_id))
    assert store.read_now(lambda db: withdrawals.find_withdrawal(db, key)) is None
    store.read_now(lambda db: withdrawals.refuse_withdrawn(db, key, receipt))
    store.write_now(lambda db: withdrawals.add_withdrawal(db, key, gone.upload_id, BODY, stamp()))
    found = store.read_now(lambda db: withdrawals.read_withdrawal(db, key, gone.upload_id))
    assert (found.upload_id, found.sha256) == (gone.upload_id, gone.sha256)
    assert (found.meaning, found.reason, found.withdrawn_by) == (
        BODY.meaning,
        BODY.reason,
        "Test bench",
    )
    assert found.withdrawn_at == FIRST_INSTANT
    among = store.read_now(lambda db: withdrawals.withdrawn_among(db, [key, other_key]))
    assert among.keys() == {key}
    assert store.read_now(lambda db: withdrawals.withdrawn_among(db, [])) == {}
    with pytest.raises(UploadWithdrawn, match="write the table anew"):
        store.read_now(lambda db: withdrawals.refuse_withdrawn(db, key, receipt))
    store.read_now(lambda db: withdrawals.refuse_withdrawn(db, other_key, other))
    with pytest.raises(NotFound):
        store.read_now(lambda db: withdrawals.read_withdrawal(db, other_key, kept.upload_id))
