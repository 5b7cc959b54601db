"""Recorded instants come from one clock."""

from datetime import UTC, timedelta

from stores import FIRST_INSTANT, StandingClock

from service.tokens import Actor
from service.workflows.clock import stamp_of, utc_now


def test_the_clock_gives_instants_in_utc() -> None:
    first, second = utc_now(), utc_now()
    assert first.tzinfo is UTC
    assert timedelta() <= second - first < timedelta(seconds=5)


def test_a_stamp_names_the_instant_and_the_actor() -> None:
    actor = Actor(name="Q system", kind="SYSTEM", scopes=frozenset())
    made = stamp_of(StandingClock(), actor)
    assert (made.at, made.by) == (FIRST_INSTANT, "Q system")
