"""One-time codes, sessions and the brake on guessing."""

from service.sessions import (
    ATTEMPT_WINDOW_S,
    CODE_LIFE_S,
    MAX_FAILED_ATTEMPTS,
    SESSION_LIFE_S,
    Sessions,
)
from service.tokens import Actor

READER = Actor(name="Visitor", kind="PERSON", scopes=frozenset({"lots.read"}))


class Clock:
    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


def test_a_code_counts_once() -> None:
    sessions = Sessions()
    code = sessions.issue_code(READER)
    assert sessions.redeem_code(code) == READER
    assert sessions.redeem_code(code) is None


def test_a_code_counts_for_fifteen_minutes() -> None:
    clock = Clock()
    sessions = Sessions(clock)
    early, late = sessions.issue_code(READER), sessions.issue_code(READER)
    clock.now += CODE_LIFE_S - 1
    assert sessions.redeem_code(early) == READER
    clock.now += 1
    assert sessions.redeem_code(late) is None


def test_a_session_ends_with_its_time_or_by_signing_out() -> None:
    clock = Clock()
    sessions = Sessions(clock)
    kept, closed = sessions.open(READER), sessions.open(READER)
    sessions.close(closed)
    assert sessions.find(closed) is None
    assert sessions.find(kept) == READER
    clock.now += SESSION_LIFE_S
    assert sessions.find(kept) is None


def test_a_code_is_no_cookie_and_a_cookie_no_code() -> None:
    sessions = Sessions()
    assert sessions.find(sessions.issue_code(READER)) is None
    assert sessions.redeem_code(sessions.open(READER)) is None


def test_after_too_many_failures_an_address_waits_and_others_do_not() -> None:
    clock = Clock()
    sessions = Sessions(clock)
    for _ in range(MAX_FAILED_ATTEMPTS):
        assert sessions.seconds_to_wait("10.0.0.1") == 0
        sessions.note_failure("10.0.0.1")
    assert sessions.seconds_to_wait("10.0.0.1") == ATTEMPT_WINDOW_S
    assert sessions.seconds_to_wait("10.0.0.2") == 0
    clock.now += ATTEMPT_WINDOW_S
    assert sessions.seconds_to_wait("10.0.0.1") == 0
