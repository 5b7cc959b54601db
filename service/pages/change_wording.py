"""Sentences about withdrawals, corrections and samples, in English."""

from __future__ import annotations

from msgspec import UNSET, UnsetType

from schemas.corrections import LifeStanding, LotChange, NamedUnit
from schemas.sample_draws import SampleDraw
from service.pages.units import count_text, counted
from service.pages.wording import ENDINGS, say

SAMPLE_BASES: dict[str, str] = {
    "DRAWN": "The service drew the sample; seed and order are on record and can be repeated.",
    "LISTED": "The sample was listed; how its units were chosen is not on record.",
    "SEEN": "Nobody listed a sample: every serial that was seen counts as one of it.",
}

ROW_CHANGES: dict[str, str] = {
    "UPLOAD_WITHDRAWN": "rows or a life of this unit were withdrawn with an upload",
    "SERIAL_CORRECTED": "rows or a life changed to or from this unit by a correction of serials",
    "CALIBRATION": "readings of this unit were corrected by a calibration",
}

HOW_DRAWN = (
    "Within its stratum each serial is sorted by the SHA-256 of seed, line feed, stratum, line "
    "feed, serial; the first ones are the sample, the next ones the spares."
)


def change_text(change: LotChange) -> str:
    """
    What was signed, in a few words.

    Raises
    ------
    AssertionError
        If the change lacks what its kind has.
    """
    if change.kind == "UPLOAD_WITHDRAWN":
        return f"Upload {change.upload_id} withdrawn"
    assert change.written is not UNSET  # a correction names both
    assert change.belongs_to is not UNSET
    return f"Rows written as {_unit(change.written)} belong to {_unit(change.belongs_to)}"


def life_text(standing: LifeStanding | UnsetType) -> str:
    """
    A unit's life before or after a change.

    Examples
    --------
    >>> life_text(UNSET)
    'not in the lot'
    """
    if standing is UNSET:
        return "not in the lot"
    ending = say(ENDINGS, standing.ending)
    return f"{ending}, {counted(standing.counted_cycles, 'counted cycle', 'counted cycles')}"


def draw_text(draw: SampleDraw) -> str:
    """How many were drawn out of how many, with which spares."""
    drawn = sum(len(stratum.drawn) for stratum in draw.strata)
    spares = sum(len(stratum.spares) for stratum in draw.strata)
    return (
        f"{count_text(drawn)} of {count_text(draw.population_count)}, "
        f"{counted(spares, 'spare', 'spares')}"
    )


def _unit(named: NamedUnit) -> str:
    if named.unit_serial is None:
        return f"lot {named.lot_number}"
    return f"{named.unit_serial} of lot {named.lot_number}"
