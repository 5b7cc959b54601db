"""What every recorded fact carries: when it was recorded, and by whom."""

from datetime import datetime

from msgspec import Struct


class Stamp(Struct, frozen=True, kw_only=True):
    """When a fact was recorded (UTC) and the name of the token that recorded it."""

    at: datetime
    by: str
