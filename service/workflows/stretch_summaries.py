"""Stage one for the stretches of a lot: kept summaries where there are any, else the rows."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Sequence
from functools import lru_cache

import msgspec
from msgspec import Struct

from analysis.reduction import REDUCTION_VERSION
from analysis.reduction.rules import (
    full_scale_mpa,
    mode_parameters,
    stage_one_parameters,
    streak_text_name,
)
from analysis.reduction.summaries import StretchBase, fold_summaries
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from service.storage import memos
from service.storage.lot_facts import LotFacts, StretchRecord, read_texts
from service.storage.store import Cursor
from service.storage.summaries import StageOne
from service.workflows.kept import read_kept
from service.workflows.stage_one_texts import stage_one_texts


class StretchReadings(Struct, frozen=True, kw_only=True):
    """
    Laps of one stretch.

    `kindest` and `harshest` only where rows conflict, `by_clock` only where the
    counter says another order than the clock.
    """

    as_stored: list[StretchSummary]
    kindest: list[StretchSummary] = []
    by_clock: list[StretchSummary] = []
    harshest: list[StretchSummary] = []


def summarise(db: Cursor, facts: LotFacts, spec: Spec, *, keep: bool) -> dict[int, StretchReadings]:
    """
    Summaries of every stretch of a lot under the rules of a specification.

    Parameters
    ----------
    db : Cursor
    facts : LotFacts
    spec : Spec
    keep : bool, keyword only
        Whether to store what had to be computed (needs a write transaction).

    Returns
    -------
    dict of int to StretchReadings
        By stretch key.
    """
    readings: dict[int, StretchReadings] = {}
    for full_scale, stretches in _by_full_scale(facts).items():
        rules_key = _rules_key(spec, full_scale)
        rows_keys = {each.stretch_key: each.rows_key for each in stretches}
        for key, body in memos.find_summaries(db, rules_key, rows_keys).items():
            kept = read_kept(body, StretchReadings)
            if kept is not None:
                readings[key] = kept
        missing = [each for each in stretches if each.stretch_key not in readings]
        if missing:
            computed = _compute(db, missing, spec, full_scale)
            readings |= computed
            if keep:
                bodies = {key: msgspec.json.encode(r).decode() for key, r in computed.items()}
                memos.keep_summaries(db, rules_key, rows_keys, bodies)
    return readings


def stage_one_for(db: Cursor, spec: Spec, full_scale: float | None) -> StageOne:
    """Stage one with the limits of a specification bound."""
    return _stage_one(db, spec, full_scale, read_texts(db))


def _stage_one(db: Cursor, spec: Spec, full_scale: float | None, texts: dict[int, str]) -> StageOne:
    """The same, where the texts of the rows are read already."""
    wanted = set(spec.conditions.station_modes)
    mode_keys = [key for key, text in texts.items() if text in wanted]
    parameters = stage_one_parameters(spec, full_scale) | mode_parameters(mode_keys)
    return StageOne(db, stage_one_texts(), parameters, streak_text_name(spec))


@lru_cache(maxsize=1)
def _texts_digest() -> str:
    joined = "\n".join(f"{name}\n{text}" for name, text in sorted(stage_one_texts().items()))
    return hashlib.sha256(joined.encode()).hexdigest()


def _rules_key(spec: Spec, full_scale: float | None) -> str:
    """Hash of everything that stage one depends on besides the rows."""
    rules = (
        REDUCTION_VERSION,
        _texts_digest(),
        stage_one_parameters(spec, full_scale),
        sorted(spec.conditions.station_modes),
        streak_text_name(spec),
    )
    return hashlib.sha256(msgspec.json.encode(rules, order="sorted")).hexdigest()


def _by_full_scale(facts: LotFacts) -> dict[float | None, list[StretchRecord]]:
    groups: dict[float | None, list[StretchRecord]] = defaultdict(list)
    for stretch in facts.stretches:
        full_scale = full_scale_mpa(facts.rigs.get(stretch.rig_id), stretch.station_no)
        groups[full_scale].append(stretch)
    return groups


def _compute(
    db: Cursor, stretches: Sequence[StretchRecord], spec: Spec, full_scale: float | None
) -> dict[int, StretchReadings]:
    bases = {
        each.stretch_key: StretchBase(
            stretch_key=each.stretch_key,
            unit_key=each.unit_key,
            rig_id=each.rig_id,
            run_id=each.run_id,
            station_no=each.station_no,
        )
        for each in stretches
    }
    texts = read_texts(db)
    persistence = spec.failure.persistence
    persistent = persistence.cycles if persistence else None
    by_variant: dict[str, dict[int, list[StretchSummary]]] = defaultdict(lambda: defaultdict(list))
    for rows in _stage_one(db, spec, full_scale, texts).run([*bases]):
        for summary in fold_summaries(rows, bases, texts, persistent):
            by_variant[rows.variant][summary.stretch_key].append(summary)
    return {
        key: StretchReadings(
            as_stored=by_variant["as_stored"][key],
            kindest=by_variant["kindest"][key],
            by_clock=by_variant["by_clock"][key],
            harshest=by_variant["harshest"][key],
        )
        for key in bases
    }
