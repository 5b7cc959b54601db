"""The one clock of the service: every recorded instant comes from here."""

from collections.abc import Callable
from datetime import UTC, datetime

from service.storage.facts import Stamp
from service.tokens import Actor

Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """The present instant in UTC."""
    return datetime.now(UTC)


def stamp_of(clock: Clock, actor: Actor) -> Stamp:
    """Now, by this actor: what is written beside a recorded fact."""
    return Stamp(at=clock(), by=actor.name)
