"""The sample reconciled: what became of every unit that was drawn, on every answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from msgspec import UNSET, Struct

from schemas.lives import UnitLife
from schemas.sample_figures import ExcludedUnit, SampleBasis, SampleFigures


class SampleRecord(Struct, frozen=True, kw_only=True):
    """
    What is on record about a lot's sample.

    `drawn` and `spares` are serials of all draws together, in order; `substituted` is the
    spare that took a void unit's place, by that unit's serial. `is_listed` says whether
    anybody listed a sample at all.
    """

    is_listed: bool
    draw_keys: list[str] = []
    drawn: list[str] = []
    spares: list[str] = []
    substituted: Mapping[str, str] = {}


def sample_figures(lives: Sequence[UnitLife], record: SampleRecord) -> SampleFigures:
    """
    Count a lot's sample so that nothing is missing.

    Parameters
    ----------
    lives : sequence of UnitLife
        Of all units of the lot.
    record : SampleRecord

    Returns
    -------
    SampleFigures
        A void unit is excluded, with what voided it; a unit is tested once it has started or
        has a life of its own.

    Examples
    --------
    >>> sample_figures([], SampleRecord(is_listed=False)).basis
    'SEEN'
    """
    inside = [life for life in lives if "NOT_IN_SAMPLE" not in life.marks]
    void = [life for life in inside if life.ending == "VOID"]
    unstarted = [life for life in inside if life.ending != "VOID" and _is_unstarted(life)]
    used = set(record.substituted.values())
    return SampleFigures(
        basis=_basis(record),
        drawn_count=sum(life.unit_serial not in used for life in inside),
        substituted_count=sum(life.unit_serial in used for life in inside),
        tested_count=len(inside) - len(void) - len(unstarted),
        not_started_count=len(unstarted),
        excluded=[_excluded(life, record.substituted) for life in void],
        outside_serials=[life.unit_serial for life in lives if life not in inside],
        spares_left=[serial for serial in record.spares if serial not in used],
        draw_keys=record.draw_keys,
    )


def _basis(record: SampleRecord) -> SampleBasis:
    if record.draw_keys:
        return "DRAWN"
    return "LISTED" if record.is_listed else "SEEN"


def _is_unstarted(life: UnitLife) -> bool:
    return "NOT_STARTED" in life.marks


def _excluded(life: UnitLife, substituted: Mapping[str, str]) -> ExcludedUnit:
    """A void unit with the questions whose answers voided it; a lives table may say it itself."""
    reasons = sorted({hold.name for hold in (*life.decided_holds, *life.holds)})
    return ExcludedUnit(
        unit_serial=life.unit_serial,
        reasons=[*reasons] or ["VOID"],
        substituted_by=substituted.get(life.unit_serial, UNSET),
    )
