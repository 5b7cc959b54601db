"""Stage one for the stretches of a lot: kept summaries where there are any, else the rows."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Collection, Sequence
from functools import lru_cache

import msgspec
from msgspec import Struct

from analysis.reduction import REDUCTION_VERSION
from analysis.reduction.rules import (
    mode_parameters,
    stage_one_parameters,
    streak_text_name,
)
from analysis.reduction.summaries import StretchBase, fold_summaries
from schemas.sensor_corrections import RowCorrection
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from service.storage import memos
from service.storage.blocks import BlockStage
from service.storage.lot_facts import LotFacts, StretchRecord, read_texts
from service.storage.store import Cursor
from service.storage.summaries import StageOne
from service.workflows.kept import read_kept
from service.workflows.sensing import Sensing, sensing_of
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
    for sensing, stretches in judged_alike(facts).items():
        rules_key = rules_key_of(spec, sensing)
        rows_keys = {each.stretch_key: rows_key_of(each, facts) for each in stretches}
        for key, body in memos.find_summaries(db, rules_key, rows_keys).items():
            kept = read_kept(body, StretchReadings)
            if kept is not None:
                readings[key] = kept
        missing = [each for each in stretches if each.stretch_key not in readings]
        if missing:
            corrections = [
                each for s in missing for each in facts.sensor_corrections.get(s.stretch_key, [])
            ]
            texts = read_texts(db)
            stage_one = stage_one_of(db, spec, sensing, texts, corrections)
            computed = _compute(missing, (spec, sensing), texts, stage_one)
            readings |= computed
            if keep:
                bodies = {key: msgspec.json.encode(r).decode() for key, r in computed.items()}
                memos.keep_summaries(db, rules_key, rows_keys, bodies)
    return readings


def stage_one_for(
    db: Cursor,
    spec: Spec,
    sensing: Sensing,
    corrections: Collection[RowCorrection] = (),
) -> StageOne:
    """Stage one with the limits of a specification bound, on true pressures where these differ."""
    return stage_one_of(db, spec, sensing, read_texts(db), corrections)


def stage_one_of(
    db: Cursor,
    spec: Spec,
    sensing: Sensing,
    texts: dict[int, str],
    corrections: Collection[RowCorrection],
) -> BlockStage:
    """The same, and for blocks too, where the texts of the rows are read already."""
    wanted = set(spec.conditions.station_modes)
    mode_keys = [key for key, text in texts.items() if text in wanted]
    parameters = _limits(spec, sensing) | mode_parameters(mode_keys)
    return BlockStage(db, stage_one_texts(), parameters, streak_text_name(spec), corrections)


@lru_cache(maxsize=1)
def _texts_digest() -> str:
    joined = "\n".join(f"{name}\n{text}" for name, text in sorted(stage_one_texts().items()))
    return hashlib.sha256(joined.encode()).hexdigest()


def _limits(spec: Spec, sensing: Sensing) -> dict[str, float | int | bool | None]:
    return stage_one_parameters(spec, sensing.full_scale_mpa, sensing.uncertainty_mpa)


def rules_key_of(spec: Spec, sensing: Sensing) -> str:
    """Hash of everything that stage one depends on besides the rows and their corrections."""
    rules = (
        REDUCTION_VERSION,
        _texts_digest(),
        _limits(spec, sensing),
        sorted(spec.conditions.station_modes),
        streak_text_name(spec),
        sensing,
    )
    return hashlib.sha256(msgspec.json.encode(rules, order="sorted")).hexdigest()


def rows_key_of(stretch: StretchRecord, facts: LotFacts) -> str:
    """Hash of the rows of a stretch and of what calibrations make of them."""
    corrections = facts.sensor_corrections.get(stretch.stretch_key)
    if corrections is None:
        return stretch.rows_key
    said = msgspec.json.encode((stretch.rows_key, corrections))
    return hashlib.sha256(said).hexdigest()


def judged_alike(facts: LotFacts) -> dict[Sensing, list[StretchRecord]]:
    """Stretches by what is known of the sensor that read them."""
    groups: dict[Sensing, list[StretchRecord]] = defaultdict(list)
    for each in facts.stretches:
        sensing = sensing_of(facts, each.stretch_key, each.rig_id, each.station_no)
        groups[sensing].append(each)
    return groups


def _compute(
    stretches: Sequence[StretchRecord],
    rules: tuple[Spec, Sensing],
    texts: dict[int, str],
    stage_one: StageOne,
) -> dict[int, StretchReadings]:
    spec, sensing = rules
    bases = {
        each.stretch_key: StretchBase(
            stretch_key=each.stretch_key,
            unit_key=each.unit_key,
            rig_id=each.rig_id,
            run_id=each.run_id,
            station_no=each.station_no,
            uncertainty_mpa=sensing.uncertainty_mpa,
        )
        for each in stretches
    }
    persistence = spec.failure.persistence
    persistent = persistence.cycles if persistence else None
    by_variant: dict[str, dict[int, list[StretchSummary]]] = defaultdict(lambda: defaultdict(list))
    for rows in stage_one.run([*bases]):
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
