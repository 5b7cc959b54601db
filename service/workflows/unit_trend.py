"""The trend of one unit, from its rows: read when somebody asks, for that unit alone."""

from __future__ import annotations

from msgspec import UNSET, structs

from analysis.reduction import REDUCTION_VERSION
from analysis.reduction.blocks import STANDARD_BLOCK_CYCLES, number_blocks
from analysis.reduction.order import in_order
from analysis.reduction.trend import trend_points
from analysis.reduction.unit_onset import onset_settings
from schemas.specs import SpecReference, SpecVersion
from schemas.stretches import StretchSummary
from schemas.trends import UnitTrend
from service.storage import units
from service.storage.store import Cursor
from service.workflows.decay_blocks import BlocksWanted, with_blocks
from service.workflows.reduce_lot import LotReading, lives_of, read_lot
from service.workflows.stretch_summaries import summarise


def read_trend(db: Cursor, unit_id: str, most_points: int | None) -> UnitTrend:
    """
    Trend of a unit under its lot's current specification.

    Parameters
    ----------
    db : Cursor
    unit_id : str
    most_points : int or None
        Most points to give; None gives every block.

    Returns
    -------
    UnitTrend
        A lot without a specification, or with one that asks for no search of leak onset,
        has blocks of a standard length and no finding.

    Raises
    ------
    NotFound
        If there is no such unit.
    """
    found = units.find_unit(db, unit_id)
    reading = read_lot(db, found.unit.lot_id)
    life = next(each for each in lives_of(db, reading, keep=False) if each.unit_id == unit_id)
    settings = onset_settings(reading.spec)
    block_cycles = STANDARD_BLOCK_CYCLES if settings is None else settings.block_cycles
    masked = 0 if settings is None else settings.mask_after_start_cycles
    blocks = number_blocks(_stretches(db, reading, found.unit_key, block_cycles))
    limit = reading.spec.failure.decay_limit_mpa
    return UnitTrend(
        unit_id=unit_id,
        lot_number=life.lot_number,
        unit_serial=life.unit_serial,
        reduction_version=REDUCTION_VERSION,
        block_cycles=block_cycles,
        block_count=sum(len(each.figures.counted_cycles) for each in blocks),
        points=trend_points(blocks, masked_cycles=masked, most=most_points),
        decay_limit_mpa=UNSET if limit is None else limit,
        dead_band_mpa=UNSET if settings is None else settings.dead_band_mpa,
        mask_after_start_cycles=UNSET if settings is None else masked,
        onset=life.onset,
        spec=UNSET if reading.version is None else _reference(reading.version),
    )


def _stretches(
    db: Cursor, reading: LotReading, unit_key: int, block_cycles: int
) -> list[StretchSummary]:
    """Stretches of the unit in order, with their blocks in detail."""
    own = [each for each in reading.facts.stretches if each.unit_key == unit_key]
    facts = structs.replace(reading.facts, stretches=own)
    readings = summarise(db, facts, reading.spec, keep=False)
    wanted = BlocksWanted(block_cycles=block_cycles, with_details=True, keep=False)
    detailed = with_blocks(db, facts, reading.spec, readings, wanted)
    return in_order(lap for each in detailed.values() for lap in each.as_stored)


def _reference(version: SpecVersion) -> SpecReference:
    return SpecReference(spec_id=version.spec_id, version=version.version, hash=version.hash)
