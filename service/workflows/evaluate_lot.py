"""The answer about a lot: its lives against its specification, kept under the hash of both."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Sequence
from datetime import UTC
from functools import lru_cache
from importlib import metadata

import msgspec
from msgspec import UNSET

from analysis.decision import METHOD_VERSION
from analysis.decision.evaluation import evaluate_lot, verdict_on
from analysis.decision.sample_figures import SampleRecord, sample_figures
from analysis.reduction import REDUCTION_VERSION
from analysis.reduction.station_drift import drifts_together
from schemas.decisions import Evaluation, Provenance
from schemas.lives import UnitLife
from schemas.lot_evidence import LotEvidence
from schemas.specs import SpecReference, SpecVersion
from schemas.station_drifts import StationDrift
from service.storage import memos
from service.storage.lots import lot_ids
from service.storage.store import Cursor
from service.workflows.edge_answers import edges_of_lot, under_other_rule, with_verdicts
from service.workflows.kept import read_kept
from service.workflows.reduce_lot import LotReading, lives_of, read_lot
from service.workflows.sample_record import sample_record

_LIBRARIES = ("numpy", "scipy", "duckdb")
_LIMIT = "ONE_SIDED_2R_PLUS_2"
_LIMIT_AT_ALL_LOOKS = "ONE_SIDED_AT_ALL_LOOKS"
_SUCCESS_RUN = "NO_PRIOR"


def evaluate(
    db: Cursor, lot_id: str, spec_choice: str | None = None, *, keep: bool = False
) -> Evaluation:
    """
    What can be said about a lot now.

    Parameters
    ----------
    db : Cursor
    lot_id : str
    spec_choice : str, optional
        ``SPEC_ID`` or ``SPEC_ID:VERSION`` for a what-if, which can never be decided.
    keep : bool, keyword only
        Whether to store what had to be computed (needs a write transaction).

    Returns
    -------
    Evaluation
        Equal facts give an equal answer, and an equal evaluation key.

    Raises
    ------
    NotFound
        If there is no such lot or specification.
    """
    return evaluate_reading(db, read_lot(db, lot_id, spec_choice), keep=keep)


def evaluate_reading(db: Cursor, reading: LotReading, *, keep: bool) -> Evaluation:
    """What can be said about a lot whose facts were read; `keep` as for `evaluate`."""
    key = evaluation_key(reading)
    kept = _kept(db, reading, key)
    if kept is not None:
        return kept
    lives = lives_of(db, reading, keep=keep and not reading.is_what_if)
    evaluation = _with_edge_rule(db, reading, lives, evaluation_of(reading, lives), keep=keep)
    if keep and not reading.is_what_if:
        body = msgspec.json.encode(evaluation).decode()
        memos.keep_evaluation(db, reading.facts.lot_key, key, body)
    return evaluation


def lives_and_evaluation(db: Cursor, reading: LotReading) -> tuple[list[UnitLife], Evaluation]:
    """The lives of a lot and what they say, each read or computed once; nothing is stored."""
    lives = lives_of(db, reading, keep=False)
    kept = _kept(db, reading, evaluation_key(reading))
    if kept is not None:
        return lives, kept
    evaluation = evaluation_of(reading, lives)
    return lives, _with_edge_rule(db, reading, lives, evaluation, keep=False)


def is_kept(db: Cursor, lot_id: str) -> bool:
    """Whether the evaluation of a lot under its own specification can be read as it stands."""
    reading = read_lot(db, lot_id)
    return _kept(db, reading, evaluation_key(reading)) is not None


def _kept(db: Cursor, reading: LotReading, key: str) -> Evaluation | None:
    return read_kept(memos.find_evaluation(db, reading.facts.lot_key, key), Evaluation)


def refresh_lots(db: Cursor, lot_keys: Collection[int]) -> None:
    """
    Fill lives and evaluations of lots under the specifications that they have now.

    Parameters
    ----------
    db : Cursor
        In a write transaction.
    lot_keys : collection of int
        Lots whose facts changed.
    """
    for lot_id in lot_ids(db, lot_keys):
        evaluate(db, lot_id, keep=True)


def evaluation_key(reading: LotReading) -> str:
    """Hash of the lot's facts, its specification and the version of the method."""
    ingredients = (
        METHOD_VERSION,
        reading.lives_key,
        reading.facts.lot_id,
        reading.facts.registered,
        reading.version.hash if reading.version else None,
        reading.is_what_if,
        _marks(reading),
        reading.facts.draws,
    )
    return "sha256:" + hashlib.sha256(msgspec.json.encode(ingredients)).hexdigest()


def lot_evidence(reading: LotReading, lives: list[UnitLife]) -> LotEvidence:
    """What a verdict on the lot is asked of: these lives, and the marks of the lot itself."""
    facts = reading.facts
    return LotEvidence(
        lot_id=facts.lot_id,
        lot_number=facts.lot_number,
        registered=facts.registered,
        lives=lives,
        marks=[*_marks(reading), *(["STATION_DRIFT"] if _drifts(lives) else [])],
        lot_holds=[],
    )


def evaluation_of(reading: LotReading, lives: list[UnitLife]) -> Evaluation:
    """What these lives of a lot's units say, whether they are kept or only tried."""
    facts, version = reading.facts, reading.version
    provenance = Provenance(
        evaluation_key=evaluation_key(reading),
        lives_key=f"sha256:{reading.lives_key}",
        method_version=METHOD_VERSION,
        reduction_version=REDUCTION_VERSION,
        limit=_limit(version),
        success_run_convention=_SUCCESS_RUN,
        software=_software(),
        libraries=_library_versions(),
        facts_as_of=UNSET if facts.received_at is None else facts.received_at.astimezone(UTC),
    )
    return what_lives_say(
        lot_evidence(reading, lives),
        version,
        provenance,
        sample=sample_record(facts),
        is_what_if=reading.is_what_if,
    )


def what_lives_say(
    evidence: LotEvidence,
    version: SpecVersion | None,
    provenance: Provenance,
    *,
    sample: SampleRecord,
    is_what_if: bool = False,
) -> Evaluation:
    """The evaluation that follows from lives and a specification alone; no store is asked."""
    evaluation = evaluate_lot(
        evidence, version.spec if version else None, provenance, _reference(version)
    )
    return msgspec.structs.replace(
        evaluation,
        what_if=is_what_if,
        station_drifts=_drifts(evidence.lives),
        sample=sample_figures(evidence.lives, sample),
    )


def _drifts(lives: Sequence[UnitLife]) -> list[StationDrift]:
    return drifts_together(drift for life in lives for drift in life.station_drifts)


def _with_edge_rule(
    db: Cursor, reading: LotReading, lives: list[UnitLife], evaluation: Evaluation, *, keep: bool
) -> Evaluation:
    """The evaluation with the rule at the edges of the band and what depends on it."""
    edges = edges_of_lot(reading, lives)
    if edges is None:
        return evaluation
    if edges.uncertainty_known:
        keep = keep and not reading.is_what_if
        other, other_lives = under_other_rule(db, reading, lives, keep=keep)
        evidence = lot_evidence(other, other_lives)
        verdict = verdict_on(evidence, other.spec).verdict
        edges = with_verdicts(edges, evaluation.verdict, verdict)
    return msgspec.structs.replace(evaluation, edge_rule=edges)


def _limit(version: SpecVersion | None) -> str:
    """Name of the limits that stand in the answer."""
    is_anytime = version is not None and version.spec.plan.kind == "ANYTIME"
    return _LIMIT_AT_ALL_LOOKS if is_anytime else _LIMIT


def _reference(version: SpecVersion | None) -> SpecReference | None:
    if version is None:
        return None
    return SpecReference(spec_id=version.spec_id, version=version.version, hash=version.hash)


def _marks(reading: LotReading) -> list[str]:
    """Marks of the lot itself: a specification assigned after the first cycle."""
    assignment, stretches = reading.facts.assignment, reading.facts.stretches
    if assignment is None or not stretches:
        return []
    first = min(each.first_started_at for each in stretches).replace(tzinfo=UTC)
    return ["SPEC_AFTER_DATA"] if assignment.assigned_at > first else []


@lru_cache(maxsize=1)
def _software() -> str:
    try:
        return f"lotproof {metadata.version('lotproof')}"
    except metadata.PackageNotFoundError:
        return "lotproof, not installed"


@lru_cache(maxsize=1)
def _library_versions() -> dict[str, str]:
    return {name: metadata.version(name) for name in _LIBRARIES}
