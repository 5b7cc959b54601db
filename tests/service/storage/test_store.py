"""One writer, many readers, a fence around the database."""

import asyncio
import subprocess
import sys
import threading
import time
from pathlib import Path

import anyio
import duckdb
import pytest
from stores import open_store

from service.errors import DataDirectoryInUse, StorageBusy
from service.storage.store import DATABASE_FILE, Cursor, Store

ADD = "INSERT INTO texts (text_key, text) VALUES ($key, $text)"


def count(store: Store) -> int:
    return int(store.read_now(lambda db: db.execute("SELECT count(*) FROM texts").fetchall())[0][0])


def test_a_change_is_stored_whole(store: Store) -> None:
    def change(db: Cursor) -> str:
        db.execute(ADD, {"key": 1, "text": "one"})
        db.execute(ADD, {"key": 2, "text": "two"})
        return "done"

    assert store.write_now(change) == "done"
    assert count(store) == 2


def test_a_change_that_fails_leaves_nothing(store: Store) -> None:
    def change(db: Cursor) -> None:
        db.execute(ADD, {"key": 1, "text": "one"})
        raise KeyError("half way")

    with pytest.raises(KeyError):
        store.write_now(change)
    assert count(store) == 0
    store.write_now(lambda db: db.execute(ADD, {"key": 1, "text": "one"}))
    assert count(store) == 1


def test_what_a_reader_writes_is_not_kept(store: Store) -> None:
    store.read_now(lambda db: db.execute(ADD, {"key": 1, "text": "one"}))
    assert count(store) == 0


def test_reads_and_writes_run_beside_the_event_loop(store: Store) -> None:
    async def main() -> list[int]:
        async with anyio.create_task_group() as group:
            for key in range(20):
                group.start_soon(
                    store.write,
                    lambda db, key=key: db.execute(ADD, {"key": key, "text": str(key)}),
                )
        rows = await store.read(
            lambda db: db.execute("SELECT text_key FROM texts ORDER BY 1").fetchall()
        )
        return [int(row[0]) for row in rows]

    assert asyncio.run(main()) == list(range(20))


def test_a_write_goes_on_when_its_caller_goes_away(store: Store) -> None:
    started = threading.Event()

    def slow(db: Cursor) -> None:
        started.set()
        time.sleep(0.3)
        db.execute(ADD, {"key": 1, "text": "one"})

    async def main() -> None:
        task = asyncio.ensure_future(store.write(slow))
        while not started.is_set():
            await asyncio.sleep(0.01)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task

    asyncio.run(main())
    store.write_now(lambda _: None)  # waits for the one before
    assert count(store) == 1


def test_readers_see_nothing_of_a_write_under_way(store: Store) -> None:
    seen = []

    def change(db: Cursor) -> None:
        db.execute(ADD, {"key": 1, "text": "one"})
        seen.append(count(store))

    store.write_now(change)
    assert [*seen, count(store)] == [0, 1]


def test_a_write_that_waits_too_long_is_told_to_come_back(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.storage.store.WRITER_WAIT_S", 0.05)
    entered, leave = threading.Event(), threading.Event()

    def block(_: Cursor) -> None:
        entered.set()
        leave.wait(10)

    blocker = threading.Thread(target=store.write_now, args=[block])
    blocker.start()
    entered.wait(10)
    with pytest.raises(StorageBusy):
        store.write_now(lambda _: None)
    leave.set()
    blocker.join()

    async def main() -> None:
        hold = asyncio.ensure_future(store.write(lambda _: time.sleep(0.4)))
        await asyncio.sleep(0.1)
        with pytest.raises(StorageBusy):
            await store.write(lambda _: None)
        await hold

    asyncio.run(main())


@pytest.mark.parametrize(
    "sql",
    [
        "SELECT * FROM read_csv('/etc/passwd')",
        "SELECT * FROM read_text('../../../etc/passwd')",
        "SELECT * FROM glob('/*')",
        "ATTACH '/tmp/other.duckdb'",
        "COPY (SELECT 1) TO '/tmp/outside.csv'",
        "INSTALL httpfs",
        "LOAD httpfs",
        "SET threads = 4",
        "SET enable_external_access = true",
        "SET allowed_directories = ['/']",
    ],
)
def test_sql_cannot_reach_beyond_the_fence(store: Store, sql: str) -> None:
    with pytest.raises(duckdb.Error):
        store.read_now(lambda db: db.execute(sql).fetchall())


def test_running_out_of_memory_is_told_as_busy_and_the_store_lives(store: Store) -> None:
    def hungry(db: Cursor) -> None:
        raise duckdb.OutOfMemoryException("no more")

    with pytest.raises(StorageBusy):
        store.read_now(hungry)
    assert count(store) == 0


def test_a_second_store_on_the_same_directory_is_refused(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    with pytest.raises(DataDirectoryInUse):
        open_store(tmp_path)
    program = (
        "import sys\nfrom pathlib import Path\nfrom stores import open_store\n"
        "open_store(Path(sys.argv[1]))\n"
    )
    other = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": ":".join(sys.path)},
    )
    assert other.returncode == 1
    last_line = other.stderr.splitlines()[-1]
    assert "DataDirectoryInUse: Another process already works on the data directory" in last_line
    store.close()


def test_closing_twice_is_harmless_and_a_closed_store_says_so(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    store.write_now(lambda db: db.execute(ADD, {"key": 1, "text": "one"}))
    store.close()
    store.close()
    with pytest.raises(StorageBusy):
        count(store)
    again = open_store(tmp_path)
    assert count(again) == 1
    again.close()


def test_the_file_has_the_oldest_format_that_is_still_written(tmp_path: Path) -> None:
    open_store(tmp_path).close()
    # The number of the format stands at the thirteenth byte of the file; 64 is that of 1.0.
    assert int.from_bytes((tmp_path / DATABASE_FILE).read_bytes()[12:20], "little") == 64


def test_what_a_killed_process_spilled_is_removed(tmp_path: Path) -> None:
    spilled = tmp_path / f"{DATABASE_FILE}.tmp" / "duckdb_temp_block-1.block"
    spilled.parent.mkdir()
    spilled.write_bytes(b"left")
    open_store(tmp_path).close()
    assert not spilled.exists()
