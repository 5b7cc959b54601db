"""A reading serves until the next fact, and a slow reader never leaves an old one behind."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from service.storage.recall import MOST_REMEMBERED, Memory, reading, recall
from service.storage.store import Cursor, Store

ADD = "INSERT INTO texts (text_key, text) VALUES ($key, $text)"
LONGEST_WAIT_S = 20


class Facts:
    """A question about the store that counts how often it really looked."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.looks = 0

    def look(self, db: Cursor) -> int:
        self.looks += 1
        row = db.execute("SELECT count(*) FROM texts").fetchone()
        assert row is not None
        return int(row[0])

    def recalled(self, db: Cursor) -> int:
        return recall("count", lambda: self.look(db))

    def read(self) -> int:
        return self.store.read_now(self.recalled)

    def add(self, key: int) -> None:
        self.store.write_now(lambda db: db.execute(ADD, {"key": key, "text": str(key)}))


@pytest.fixture
def facts(store: Store) -> Facts:
    return Facts(store)


def in_thread(work: Callable[[], None]) -> threading.Thread:
    thread = threading.Thread(target=work)
    thread.start()
    return thread


def test_a_reading_is_used_until_a_fact_is_written(facts: Facts) -> None:
    assert [facts.read(), facts.read(), facts.read()] == [0, 0, 0]
    assert facts.looks == 1
    facts.add(1)
    assert [facts.read(), facts.read()] == [1, 1]
    assert facts.looks == 2


def test_keeping_derived_answers_or_failing_to_write_leaves_a_reading_in_use(facts: Facts) -> None:
    facts.read()
    facts.store.write_now(lambda db: None, changes_facts=False)

    def fail(db: Cursor) -> None:
        db.execute(ADD, {"key": 1, "text": "one"})
        raise RuntimeError("rolled back")

    with pytest.raises(RuntimeError):
        facts.store.write_now(fail)
    assert (facts.read(), facts.looks) == (0, 1)


def test_different_questions_have_readings_of_their_own(store: Store) -> None:
    def question(db: Cursor) -> list[str]:
        return [recall(("lot", name), lambda name=name: name.upper()) for name in ("a", "b")]

    assert store.read_now(question) == store.read_now(question) == ["A", "B"]


def test_inside_a_write_nothing_is_remembered(facts: Facts) -> None:
    assert facts.read() == 0

    def change(db: Cursor) -> list[int]:
        before = facts.recalled(db)
        db.execute(ADD, {"key": 1, "text": "one"})
        return [before, facts.recalled(db)]

    # The write sees its own row, and what it saw is not kept if it is rolled back.
    assert facts.store.write_now(change) == [0, 1]

    def change_and_fail(db: Cursor) -> None:
        db.execute(ADD, {"key": 2, "text": "two"})
        assert facts.recalled(db) == 2
        raise RuntimeError("rolled back")

    with pytest.raises(RuntimeError):
        facts.store.write_now(change_and_fail)
    assert facts.read() == 1


def test_a_read_begun_before_a_write_leaves_no_old_answer_behind(facts: Facts) -> None:
    looked, written = threading.Event(), threading.Event()
    old: list[int] = []

    def slow_look(db: Cursor) -> int:
        found = facts.look(db)
        looked.set()
        assert written.wait(LONGEST_WAIT_S)
        return found

    def slow_read() -> None:
        old.append(
            facts.store.read_now(lambda db: recall("count", lambda: slow_look(db))),
        )

    reader = in_thread(slow_read)
    assert looked.wait(LONGEST_WAIT_S)
    facts.add(1)
    written.set()
    reader.join()
    # The slow reader rightly tells the state in which it began; nobody after it hears of that.
    assert old == [0]
    assert facts.read() == 1


def test_a_read_begun_before_a_write_does_not_replace_the_newer_answer(facts: Facts) -> None:
    looked, may_go_on = threading.Event(), threading.Event()

    def slow_look(db: Cursor) -> int:
        found = facts.look(db)
        looked.set()
        assert may_go_on.wait(LONGEST_WAIT_S)
        return found

    reader = in_thread(
        lambda: facts.store.read_now(lambda db: recall("count", lambda: slow_look(db))) or None
    )
    assert looked.wait(LONGEST_WAIT_S)
    facts.add(1)
    assert facts.read() == 1
    may_go_on.set()
    reader.join()
    looks = facts.looks
    assert (facts.read(), facts.looks) == (1, looks)


def test_no_reader_is_ever_behind_a_write_that_had_returned(facts: Facts) -> None:
    returned, behind = 0, []
    done = threading.Event()

    def keep_reading() -> None:
        while not done.is_set():
            known = returned
            found = facts.read()
            if found < known:
                behind.append((found, known))

    readers = [in_thread(keep_reading) for _ in range(3)]
    for key in range(1, 61):
        facts.add(key)
        returned = key
    done.set()
    for reader in readers:
        reader.join()
    assert behind == []
    assert facts.read() == 60


def test_only_so_many_readings_are_kept_and_the_oldest_goes_first() -> None:
    memory = Memory()
    for number in range(MOST_REMEMBERED + 2):
        memory.keep(number, memory.write_no, f"reading {number}")
    kept = [n for n in range(MOST_REMEMBERED + 2) if memory.find(n, memory.write_no) is not None]
    assert kept == list(range(2, MOST_REMEMBERED + 2))
    assert memory.find(2, memory.write_no) == ("reading 2",)


def test_an_answer_of_none_is_remembered_too() -> None:
    memory, looks = Memory(), []
    for _ in range(2):
        with reading(memory):
            assert recall("nothing", lambda: looks.append(1)) is None
    assert looks == [1]


def test_outside_a_read_nothing_is_remembered() -> None:
    memory, looks = Memory(), []

    def ask() -> None:
        recall("question", lambda: looks.append(1))

    ask()
    ask()
    with reading(memory):
        with reading(None):
            ask()
        ask()
        ask()
    ask()
    assert len(looks) == 5
