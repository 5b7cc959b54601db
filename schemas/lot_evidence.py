"""What is known of a lot when a verdict is asked for: lives, marks, open questions."""

from msgspec import Struct

from schemas.holds import Hold
from schemas.lives import UnitLife


class LotEvidence(Struct, frozen=True, kw_only=True):
    """
    The lives of a lot's units, and what is open about the lot itself.

    `lives` holds every unit of the sample, a listed unit that has not started too
    (RUNNING with 0 cycles, marked NOT_STARTED), and every unlisted serial that was
    seen. `marks` are the lot's own, such as SPEC_AFTER_DATA. `lot_holds` are the
    holds that name no unit; those of a unit stand in its life.
    """

    lot_id: str
    lot_number: str
    registered: bool
    lives: list[UnitLife]
    marks: list[str]
    lot_holds: list[Hold]
