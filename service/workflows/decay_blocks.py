"""Blocks of counted cycles of a lot's stretches: kept ones where there are any, else the rows."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import msgspec
from msgspec import Struct, structs

from analysis.reduction.blocks import fold_blocks
from analysis.reduction.unit_onset import onset_settings
from schemas.blocks import BlockFigures
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from service.storage import memos
from service.storage.blocks import BlocksAsked, BlockStage
from service.storage.lot_facts import LotFacts, StretchRecord, read_texts
from service.storage.store import Cursor
from service.workflows.kept import read_kept
from service.workflows.stretch_summaries import (
    StretchReadings,
    judged_alike,
    rows_key_of,
    rules_key_of,
    stage_one_of,
)

MOST_ROWS_AT_ONCE = 1_000_000
"""Medians hold every value until they are taken: stretches are read in parts of about so many."""

_READINGS = ("as_stored", "kindest", "by_clock", "harshest")


class BlockReadings(Struct, frozen=True, kw_only=True):
    """Blocks of one stretch by lap, each way in which its rows can be read."""

    as_stored: dict[int, BlockFigures] = {}
    kindest: dict[int, BlockFigures] = {}
    by_clock: dict[int, BlockFigures] = {}
    harshest: dict[int, BlockFigures] = {}


class BlocksWanted(Struct, frozen=True, kw_only=True):
    """
    Counted cycles of a block, and whether peaks and rise times are wanted.

    `keep` says to store what had to be computed, which needs a write transaction.
    """

    block_cycles: int
    with_details: bool
    keep: bool


def with_blocks_for_onset(
    db: Cursor, facts: LotFacts, spec: Spec, readings: dict[int, StretchReadings], *, keep: bool
) -> dict[int, StretchReadings]:
    """
    The summaries of a lot with the blocks that the search for leak onset reads.

    Parameters
    ----------
    db : Cursor
    facts : LotFacts
    spec : Spec
    readings : dict of int to StretchReadings
        Summaries of the lot's stretches.
    keep : bool, keyword only
        Whether to store what had to be computed (needs a write transaction).

    Returns
    -------
    dict of int to StretchReadings
        Unchanged where the specification asks for no search: nobody pays for it then.
    """
    settings = onset_settings(spec)
    if settings is None:
        return readings
    wanted = BlocksWanted(block_cycles=settings.block_cycles, with_details=False, keep=keep)
    return with_blocks(db, facts, spec, readings, wanted)


def with_blocks(
    db: Cursor,
    facts: LotFacts,
    spec: Spec,
    readings: Mapping[int, StretchReadings],
    wanted: BlocksWanted,
) -> dict[int, StretchReadings]:
    """The summaries of some stretches with their blocks; the rest as in `with_blocks_for_onset`."""
    found: dict[int, BlockReadings] = {}
    for sensing, stretches in judged_alike(facts).items():
        rules_key = _blocks_key(rules_key_of(spec, sensing), wanted)
        rows_keys = {each.stretch_key: rows_key_of(each, facts) for each in stretches}
        for key, body in memos.find_blocks(db, rules_key, rows_keys).items():
            kept = read_kept(body, BlockReadings)
            if kept is not None:
                found[key] = kept
        missing = [each for each in stretches if each.stretch_key not in found]
        for part in _parts(missing, readings):
            texts = read_texts(db)
            corrections = [
                each for s in part for each in facts.sensor_corrections.get(s.stretch_key, [])
            ]
            stage = stage_one_of(db, spec, sensing, texts, corrections)
            computed = _compute(stage, part, readings, wanted, texts)
            found |= computed
            if wanted.keep:
                bodies = {key: msgspec.json.encode(r).decode() for key, r in computed.items()}
                memos.keep_blocks(db, rules_key, rows_keys, bodies)
    return {key: _joined(reading, found.get(key)) for key, reading in readings.items()}


def _blocks_key(rules_key: str, wanted: BlocksWanted) -> str:
    rules = (rules_key, wanted.block_cycles, wanted.with_details)
    return hashlib.sha256(msgspec.json.encode(rules)).hexdigest()


def _parts(
    stretches: Sequence[StretchRecord], readings: Mapping[int, StretchReadings]
) -> Iterator[list[StretchRecord]]:
    """Stretches in groups of not too many rows; one that is longer stands alone."""
    part: list[StretchRecord] = []
    rows = 0
    for each in stretches:
        more = sum(lap.logged_cycles for lap in readings[each.stretch_key].as_stored)
        if part and rows + more > MOST_ROWS_AT_ONCE:
            yield part
            part, rows = [], 0
        part.append(each)
        rows += more
    if part:
        yield part


def _compute(
    stage: BlockStage,
    stretches: Sequence[StretchRecord],
    readings: Mapping[int, StretchReadings],
    wanted: BlocksWanted,
    texts: Mapping[int, str],
) -> dict[int, BlockReadings]:
    keys = [each.stretch_key for each in stretches]
    rows = stage.read(
        BlocksAsked(
            stretch_keys=keys,
            conflicting=[key for key in keys if readings[key].harshest],
            falling=[key for key in keys if readings[key].by_clock],
            block_cycles=wanted.block_cycles,
            with_details=wanted.with_details,
        )
    )
    by_stretch: dict[int, dict[str, dict[int, BlockFigures]]] = {
        key: defaultdict(dict) for key in keys
    }
    for variant, found in rows.items():
        blocks = fold_blocks(
            found, texts, block_cycles=wanted.block_cycles, with_details=wanted.with_details
        )
        for (key, lap), figures in blocks.items():
            by_stretch[key][variant][lap] = figures
    return {key: _readings(variants) for key, variants in by_stretch.items()}


def _readings(variants: Mapping[str, dict[int, BlockFigures]]) -> BlockReadings:
    chosen: dict[str, Any] = {name: variants[name] for name in _READINGS if name in variants}
    return BlockReadings(**chosen)


def _joined(reading: StretchReadings, blocks: BlockReadings | None) -> StretchReadings:
    if blocks is None:
        return reading
    return StretchReadings(
        **{
            name: [_with(lap, getattr(blocks, name)) for lap in getattr(reading, name)]
            for name in _READINGS
        }
    )


def _with(lap: StretchSummary, blocks: Mapping[int, BlockFigures]) -> StretchSummary:
    return structs.replace(lap, blocks=blocks.get(lap.lap))
