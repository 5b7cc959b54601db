"""Failures that persons signed to count less, the verdict if they did not, and hazards."""

from collections.abc import Sequence

from msgspec import structs

from schemas.decisions import ExcludedFailure, UnitNotice
from schemas.lives import UnitLife
from schemas.lot_evidence import LotEvidence


def excluded_failures(lives: Sequence[UnitLife]) -> list[ExcludedFailure]:
    """
    Every failure that counts less than it would without signatures, by unit.

    Parameters
    ----------
    lives : sequence of UnitLife
        The lot's units.

    Returns
    -------
    list of ExcludedFailure
        One that is not relevant any more is a suspension; one that is still relevant is no
        longer critical, or is credited longer than an earlier record left it.
    """
    return [
        ExcludedFailure(
            unit_id=life.unit_id,
            unit_serial=life.unit_serial,
            seen_as=life.failure.seen_as,
            failure_mode=life.failure.failure_mode,
            relevant=life.failure.relevant,
            critical=life.failure.critical,
            counted_cycles=life.cycles or life.up_to_ending.counted_cycles,
            record_id=life.failure.record_id,
        )
        for life in lives
        if life.failure and life.failure.counts_less
    ]


def as_if_counted(evidence: LotEvidence) -> LotEvidence | None:
    """
    The lot as if nobody had signed that a failure counts less.

    Parameters
    ----------
    evidence : LotEvidence
        The lot as it stands.

    Returns
    -------
    LotEvidence or None
        None where nothing was signed.
    """
    if not any(life.if_counted for life in evidence.lives):
        return None
    return structs.replace(evidence, lives=[_counted(life) for life in evidence.lives])


def notices_of_lot(lives: Sequence[UnitLife]) -> list[UnitNotice]:
    """Hazards at the lot's units, in the order of the units."""
    return [
        UnitNotice(
            code=notice.code,
            unit_id=life.unit_id,
            unit_serial=life.unit_serial,
            seen_as=notice.seen_as,
            failure_mode=notice.failure_mode,
            inspection_key=notice.inspection_key,
            record_id=notice.record_id,
        )
        for life in lives
        for notice in life.notices
    ]


def _counted(life: UnitLife) -> UnitLife:
    again = life.if_counted
    if not again:
        return life
    return structs.replace(
        life,
        ending=again.outcome.ending,
        credited_cycles=again.outcome.credited_cycles,
        outcome=again.outcome,
        best=again.best,
        worst=again.worst,
    )
