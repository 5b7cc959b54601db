"""Kept answers that another version wrote are computed again."""

from pathlib import Path

from service_client import running_service

from service.storage.store import Store
from service.workflows.kept import read_kept


def test_an_answer_of_another_form_counts_as_missing() -> None:
    assert read_kept('{"a": 1}', dict[str, int]) == {"a": 1}
    assert read_kept('{"a": "one"}', dict[str, int]) is None
    assert read_kept("not JSON", int) is None
    assert read_kept(None, int) is None


def test_a_lot_is_answered_although_its_kept_answers_cannot_be_read(tmp_path: Path) -> None:
    with running_service(tmp_path) as client:
        lot_id = client.lot("CC25-0117")["lot_id"]
        client.sample(lot_id, ["U1"])
        before = client.evaluation(lot_id)
    store = Store.open(tmp_path, memory_limit="300MB", threads=1)

    def spoil(db: object) -> None:
        for table in ("lot_lives", "lot_evaluations"):
            db.execute(f"UPDATE {table} SET body = '[{{}}]'")  # type: ignore[attr-defined]

    store.write_now(spoil)
    store.close()
    with running_service(tmp_path) as client:
        assert client.evaluation(lot_id) == before
        # And what was computed again was kept in the place of what could not be read.
        assert client.evaluation(lot_id) == before
