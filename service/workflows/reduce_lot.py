"""From the facts of a lot to the lives of its units, kept under the hash of those facts."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Protocol

import msgspec
from msgspec import Struct, structs

from analysis.reduction import REDUCTION_VERSION
from analysis.reduction.calibration_doubts import with_readings
from analysis.reduction.lives import reduce_unit
from analysis.reduction.without_spec import permissive_spec
from schemas.calibrations import Calibration
from schemas.holds import HoldAnswer
from schemas.lives import UnitLife
from schemas.specs import Spec, SpecVersion
from schemas.unit_evidence import UnitEvidence
from service.storage import memos, specs
from service.storage.lot_facts import LotFacts, read_lot_facts
from service.storage.recall import recall
from service.storage.rig_clocks import rig_clocks
from service.storage.store import Cursor
from service.workflows.decay_blocks import with_blocks_for_onset
from service.workflows.gather_evidence import gather_evidence
from service.workflows.kept import read_kept
from service.workflows.onset_places import with_located_onsets
from service.workflows.sensor_corrections import corrections_by_stretch, records_about
from service.workflows.stretch_summaries import summarise
from service.workflows.uncertainties import uncertainties_by_stretch


class LotReading(Struct, frozen=True, kw_only=True):
    """The facts of a lot, the specification they are read under, and the key of its lives."""

    facts: LotFacts
    version: SpecVersion | None
    lives_key: str
    is_what_if: bool = False

    @property
    def spec(self) -> Spec:
        """The specification, or one that refuses nothing where the lot has none."""
        return permissive_spec() if self.version is None else self.version.spec


def read_lot(db: Cursor, lot_id: str, spec_choice: str | None = None) -> LotReading:
    """
    Read a lot's facts and settle which specification they are read under.

    Parameters
    ----------
    db : Cursor
    lot_id : str
    spec_choice : str, optional
        ``SPEC_ID`` or ``SPEC_ID:VERSION`` for a what-if; else the lot's current one.

    Returns
    -------
    LotReading

    Raises
    ------
    NotFound
        If there is no such lot or specification.
    """
    return recall(("lot", lot_id, spec_choice), lambda: _read_lot(db, lot_id, spec_choice))


def _read_lot(db: Cursor, lot_id: str, spec_choice: str | None) -> LotReading:
    facts = read_lot_facts(db, lot_id)
    records = [record for _, record in records_about(db, facts)]
    facts = _calibrated(db, facts, records)
    assigned = None
    if facts.assignment is not None:
        assigned = specs.find_version(db, facts.assignment.spec_id, facts.assignment.version)
    version = _chosen(db, spec_choice) if spec_choice else assigned
    what_if = version is not None and (assigned is None or version.hash != assigned.hash)
    return LotReading(
        facts=facts,
        version=version,
        lives_key=_lives_key(facts, version),
        is_what_if=bool(spec_choice) and what_if,
    )


def lives_of(db: Cursor, reading: LotReading, *, keep: bool) -> list[UnitLife]:
    """
    Lives of a lot's units: the kept ones if nothing changed, else computed.

    Parameters
    ----------
    db : Cursor
    reading : LotReading
    keep : bool, keyword only
        Whether to store what had to be computed (needs a write transaction).

    Returns
    -------
    list of UnitLife
        By serial.
    """
    kept = read_kept(memos.find_lives(db, reading.facts.lot_key, reading.lives_key), list[UnitLife])
    if kept is not None:
        return kept
    evidence = evidence_of(db, reading, keep=keep)
    lives = [reduce_unit(each, reading.spec, reading.facts.answers) for each in evidence]
    if keep:
        encoded = msgspec.json.encode(lives).decode()
        memos.keep_lives(db, reading.facts.lot_key, reading.lives_key, encoded)
    return lives


class Gather(Protocol):
    """Evidence about each unit of a lot under a specification."""

    def __call__(
        self, db: Cursor, facts: LotFacts, spec: Spec, /, *, keep: bool
    ) -> list[UnitEvidence]: ...


def evidence_of(
    db: Cursor, reading: LotReading, *, keep: bool, gather: Gather | None = None
) -> list[UnitEvidence]:
    """What is known about each of a lot's units, by serial; `keep` as for `lives_of`."""
    facts, spec = reading.facts, reading.spec
    gather = gather or _gathered
    gathered = gather(db, facts, spec, keep=keep)
    if not facts.sensor_corrections:
        return gathered
    uncorrected = structs.replace(facts, sensor_corrections={})
    as_read = gather(db, uncorrected, spec, keep=keep)
    return [
        with_readings(each, before, facts.sensor_corrections)
        for each, before in zip(gathered, as_read, strict=True)
    ]


def _gathered(db: Cursor, facts: LotFacts, spec: Spec, *, keep: bool) -> list[UnitEvidence]:
    readings = summarise(db, facts, spec, keep=keep)
    readings = with_blocks_for_onset(db, facts, spec, readings, keep=keep)
    return with_located_onsets(db, facts, spec, gather_evidence(db, facts, spec, readings))


def with_records(db: Cursor, reading: LotReading, records: Sequence[Calibration]) -> LotReading:
    """The lot as it would be read if these were the calibrations on record."""
    return with_facts(reading, _calibrated(db, reading.facts, records))


def _calibrated(db: Cursor, facts: LotFacts, records: Sequence[Calibration]) -> LotFacts:
    """The facts with what calibrations say of the sensors that read the rows."""
    return structs.replace(
        facts,
        sensor_corrections=corrections_by_stretch(db, facts, records),
        uncertainties=uncertainties_by_stretch(db, facts, records),
    )


def with_answer(reading: LotReading, hold_id: str, answer: HoldAnswer) -> LotReading:
    """The lot as it would be read with one more signed answer, in place of an earlier one."""
    answers: Mapping[str, HoldAnswer] = {**reading.facts.answers, hold_id: answer}
    facts = structs.replace(reading.facts, answers=answers)
    return structs.replace(reading, facts=facts, lives_key=_lives_key(facts, reading.version))


def with_facts(reading: LotReading, facts: LotFacts) -> LotReading:
    """The lot as it would be read with other facts."""
    return structs.replace(reading, facts=facts, lives_key=_lives_key(facts, reading.version))


def _chosen(db: Cursor, spec_choice: str) -> SpecVersion:
    """The version that a what-if names; a bare id means its newest approved version."""
    name, _, version = spec_choice.rpartition(":")
    if name and version.isdigit():
        return specs.find_version(db, name, int(version))
    return specs.find_current_version(db, spec_choice)


def _lives_key(facts: LotFacts, version: SpecVersion | None) -> str:
    """Hash of all that the lives depend on. Clocks enter only as who is silent or newest."""
    spec = permissive_spec() if version is None else version.spec
    newest = {each.stretch_key for each in facts.stations}
    clocks = rig_clocks(facts.stations)
    silence = timedelta(hours=spec.plan.overdue_hours)
    ingredients = (
        REDUCTION_VERSION,
        version.hash if version else None,
        facts.lot_number,
        facts.units,
        [
            (
                each.rig_id,
                each.run_id,
                each.station_no,
                each.unit_key,
                each.rows_key,
                facts.sensor_corrections.get(each.stretch_key),
                facts.uncertainties.get(each.stretch_key),
                each.stretch_key in newest,
                clocks[each.rig_id] - each.last_started_at > silence,
            )
            for each in facts.stretches
        ],
        facts.neighbours,
        facts.declared,
        facts.inspections,
        facts.events,
        facts.rigs,
        facts.answers,
        facts.failure_records,
        facts.changes,
    )
    return hashlib.sha256(msgspec.json.encode(ingredients, order="sorted")).hexdigest()
