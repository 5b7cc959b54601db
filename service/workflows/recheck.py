"""Past verdicts computed again from their kept evidence by the program as it is installed."""

from __future__ import annotations

import msgspec
from msgspec import UNSET

from analysis.decision import METHOD_VERSION
from analysis.errors import AnalysisError
from analysis.reduction import REDUCTION_VERSION
from analysis.reduction.lives import reduce_unit
from schemas.decisions import Decision, Evaluation
from schemas.evidence_packs import DecisionEvidence
from schemas.lives import UnitLife
from schemas.lot_evidence import LotEvidence
from schemas.rechecks import Recheck, RecheckReport
from service.settings import Settings
from service.storage.decision_evidence import find_decision_evidence
from service.storage.decisions import every_decision
from service.storage.store import Cursor
from service.workflows.closed_directory import ask_closed_directory
from service.workflows.evaluate_lot import what_lives_say
from service.workflows.sample_record import sample_record_of

_NOT_COMPARED = ("provenance", "edge_rule")
"""Provenance is passed through; the edge rule asks rows under another rule."""
_SINCE = "it was recorded before evidence was kept"


def recheck_directory(settings: Settings) -> RecheckReport:
    """
    Compute every recorded verdict of a data directory again; nothing is stored.

    Raises
    ------
    DataDirectoryInUse
        If another process works on it.
    """
    return ask_closed_directory(settings, lambda db, _: recheck(db))


def recheck(db: Cursor) -> RecheckReport:
    """Every recorded verdict against what this program says of the same evidence."""
    checked = [
        _one(each, find_decision_evidence(db, each.decision_id)) for each in every_decision(db)
    ]
    return RecheckReport(
        method_version=METHOD_VERSION,
        reduction_version=REDUCTION_VERSION,
        decision_count=len(checked),
        differing_count=sum(not each.agrees for each in checked),
        decisions=checked,
    )


def _one(decision: Decision, evidence: DecisionEvidence | None) -> Recheck:
    provenance = decision.evaluation.provenance
    recorded = Recheck(
        decision_id=decision.decision_id,
        lot_number=decision.lot_number,
        recorded_verdict=decision.verdict,
        recorded_kind=decision.kind,
        recorded_method_version=provenance.method_version,
        recorded_reduction_version=provenance.reduction_version,
        agrees=False,
    )
    if evidence is None:
        return msgspec.structs.replace(recorded, not_rechecked=_SINCE)
    try:
        lives = [reduce_unit(unit, evidence.spec.spec, evidence.answers) for unit in evidence.units]
        found = evaluated(decision.evaluation, evidence, lives)
    except AnalysisError as error:
        return msgspec.structs.replace(recorded, not_rechecked=f"it is refused now: {error}")
    changed_units = _changed_units(evidence.lives, lives)
    figures = changed_figures(found, decision.evaluation)
    return msgspec.structs.replace(
        recorded,
        verdict=found.verdict,
        kind=found.kind,
        changed_units=changed_units,
        changed_figures=figures,
        agrees=not changed_units and not figures,
    )


def evaluated(said: Evaluation, evidence: DecisionEvidence, lives: list[UnitLife]) -> Evaluation:
    """The evaluation that this program gives of kept evidence with these lives."""
    lot = LotEvidence(
        lot_id=said.lot_id,
        lot_number=said.lot_number,
        registered=evidence.registered,
        lives=lives,
        marks=evidence.marks,
        lot_holds=[],
    )
    sample = sample_record_of(evidence.draws, is_listed=evidence.is_listed)
    return what_lives_say(lot, evidence.spec, said.provenance, sample=sample)


def changed_figures(found: Evaluation, said: Evaluation) -> list[str]:
    """Names of the parts of two evaluations that differ, of those that need no store."""
    return [
        name
        for name in Evaluation.__struct_fields__
        if name not in _NOT_COMPARED
        and same_text(getattr(found, name)) != same_text(getattr(said, name))
    ]


def same_text(said: object) -> bytes:
    """Text by which two answers are compared, numbers to the last digit."""
    return b"" if said is UNSET else msgspec.json.encode(said, order="sorted")


def _changed_units(stated: list[UnitLife], found: list[UnitLife]) -> list[str]:
    before = {life.unit_serial: same_text(life) for life in stated}
    now = {life.unit_serial: same_text(life) for life in found}
    return sorted(serial for serial in {*before, *now} if before.get(serial) != now.get(serial))
