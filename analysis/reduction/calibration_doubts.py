"""A sensor found out of calibration: the life on true pressures, and on readings beside it."""

from collections.abc import Mapping, Sequence

from msgspec import UNSET, structs

from analysis.reduction.endings import LifeEnd, end_of_life
from analysis.reduction.readings import Doubt, either, excluded
from schemas.holds import HoldEvidence
from schemas.sensor_corrections import RowCorrection
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from schemas.unit_evidence import UnitEvidence

FOUND_OUT = "CALIBRATION_FOUND_OUT"


def with_readings(
    evidence: UnitEvidence,
    as_read: UnitEvidence,
    corrections: Mapping[int, Sequence[RowCorrection]],
) -> UnitEvidence:
    """
    Evidence on true pressures with the same on readings beside it.

    Parameters
    ----------
    evidence : UnitEvidence
        The unit as the calibrations in force make it.
    as_read : UnitEvidence
        The same unit if every reading were the true pressure.
    corrections : mapping of int to sequence of RowCorrection
        By stretch, of any units.

    Returns
    -------
    UnitEvidence
        As it was where no row of the unit was corrected.
    """
    own = {
        each.stretch_key: [*corrections[each.stretch_key]]
        for each in evidence.stretches
        if each.stretch_key in corrections
    }
    return structs.replace(evidence, as_read=as_read, sensor_corrections=own) if own else evidence


def calibration_doubts(evidence: UnitEvidence, spec: Spec, end: LifeEnd) -> list[Doubt]:
    """
    Whether a record that changes a unit's counted cycles is to be believed.

    Parameters
    ----------
    evidence : UnitEvidence
        What is known about the unit.
    spec : Spec
        The specification.
    end : LifeEnd
        How the life ends as the evidence stands, on true pressures.

    Returns
    -------
    list of Doubt
        At best the record is disputed and the life is that of the readings; at worst the
        unit is void. Where the readings show a failure that the true pressures do not,
        that failure is the worst too: a question never voids a failure away. None where
        both lives are one.
    """
    if evidence.as_read is None:
        return []
    disputed = end_of_life(evidence.as_read, evidence.as_read.stretches, spec)
    if _life(disputed) == _life(end_of_life(evidence, evidence.stretches, spec)):
        return []
    worst = either(disputed, excluded(end))[1]
    return [
        Doubt(
            name="CALIBRATION_FOUND_OUT", evidence=_evidence(evidence), best=disputed, worst=worst
        )
    ]


def _life(end: LifeEnd) -> tuple[object, ...]:
    counts = (end.at_counted, end.verified_cycles)
    return (end.ending, *counts, end.cycles, end.cycles_low, end.cycles_high)


def _evidence(evidence: UnitEvidence) -> list[HoldEvidence]:
    """For each corrected stretch the sensor, what was found, and what it changes."""
    assert evidence.as_read is not None
    before = {(each.stretch_key, each.lap): each for each in evidence.as_read.stretches}
    return [
        _changed(each, before[each.stretch_key, each.lap], found)
        for each in evidence.stretches
        for found in evidence.sensor_corrections.get(each.stretch_key, [])
        if (each.stretch_key, each.lap) in before
    ]


def _changed(after: StretchSummary, before: StretchSummary, found: RowCorrection) -> HoldEvidence:
    """Cycles that do not count any more, and those that do only now, where there are any."""
    disqualified = after.not_counted_by.get(FOUND_OUT, 0)
    gained = after.counted_cycles - (before.counted_cycles - disqualified)
    place = after.ranges.get(FOUND_OUT)
    return HoldEvidence(
        rig_id=after.rig_id,
        run_id=after.run_id,
        station_no=after.station_no,
        from_cycle_in_run=place.first_cycle_in_run if place else UNSET,
        to_cycle_in_run=place.last_cycle_in_run if place else UNSET,
        cycles=disqualified,
        quantity="gained_cycles" if gained > 0 else UNSET,
        measured=float(gained) if gained > 0 else UNSET,
        sensor_id=found.sensor_id,
        gain=found.gain,
        offset_mpa=found.offset_mpa,
    )
