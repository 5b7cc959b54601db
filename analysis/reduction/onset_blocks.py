"""Blocks of pressure decay that the search for leak onset reads, and the rules it goes by."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from analysis.checks import FloatArray, check_not_negative, check_positive
from analysis.errors import OutsideDomainError

IntArray = NDArray[np.int64]
LEAST_SHARE_OF_BLOCK = 0.5
"""A block cut short by the end of its stretch is read when it holds this share of its cycles."""


class OnsetRules(Struct, frozen=True, kw_only=True):
    """
    Limits of the search for leak onset; all are choices of a specification.

    Blocks hold `block_cycles` counted cycles. The `break_in_blocks` first blocks of a unit
    are left out, the next `baseline_blocks` on a station are its baseline there. A block
    that begins within `masked_cycles` commanded cycles of a start is not read. Decay is
    judged by how far it lies over baseline + `dead_band_mpa`, summed over blocks: onset is
    established when the sum reaches `alarm_mpa`. `station_step_mpa` is the most by which
    the baseline may change from one station to another, None where no baseline is to be
    carried over a move; `sensor_step_mpa` the step in which readings come, which no
    bracket can be finer than. MPa all four.
    """

    block_cycles: int
    break_in_blocks: int
    baseline_blocks: int
    masked_cycles: int
    dead_band_mpa: float
    alarm_mpa: float
    station_step_mpa: float | None
    sensor_step_mpa: float


class StretchBlocks(Struct, frozen=True, kw_only=True, eq=False):
    """
    Blocks of one stretch of a unit, in order; arrays of one length, which may be 0.

    `place` names the rig, station and sensor: what has a baseline of its own.
    `first_counted` and `last_counted` number the ends of each block among the counted
    cycles of the unit, `cycles` is how many counted cycles the block holds,
    `cycles_since_start` the commanded cycles from the start of the run up to the block's
    first one, which is 1 for a block that begins with the run. `decay_mpa` is the median
    pressure decay of the block's counted cycles, `temperature_c` their mean temperature:
    nan for a block without, None where it is not recorded.
    """

    place: str
    first_counted: IntArray
    last_counted: IntArray
    cycles: IntArray
    cycles_since_start: IntArray
    decay_mpa: FloatArray
    temperature_c: FloatArray | None = None


class Blocks(Struct, frozen=True, kw_only=True, eq=False):
    """
    The blocks of a unit that are read, in order, as arrays of one length.

    `place` numbers the places in the order in which they first come, `visit` counts up
    at every change of place. `temperature_c` is nan where it is not known.
    """

    place: IntArray
    visit: IntArray
    first_counted: IntArray
    last_counted: IntArray
    decay_mpa: FloatArray
    temperature_c: FloatArray
    place_names: tuple[str, ...]
    left_out: int

    @property
    def middle(self) -> FloatArray:
        """Middle of each block in counted cycles: where its median belongs."""
        return (self.first_counted + self.last_counted) / 2.0


def check_rules(rules: OnsetRules) -> OnsetRules:
    """
    Accept rules by which onset can be looked for.

    Raises
    ------
    OutsideDomainError
        If a length of the blocks or the baseline is below 1, a count is negative, the
        dead band or the alarm is not above 0, or a step is negative.
    """
    for name in ("block_cycles", "baseline_blocks", "dead_band_mpa", "alarm_mpa"):
        check_positive(name, getattr(rules, name))
    for name in ("break_in_blocks", "masked_cycles", "sensor_step_mpa"):
        check_not_negative(name, getattr(rules, name))
    if rules.station_step_mpa is not None:
        check_not_negative("station_step_mpa", rules.station_step_mpa)
    return rules


def blocks_to_read(stretches: Sequence[StretchBlocks], rules: OnsetRules) -> Blocks:
    """
    Join a unit's stretches and leave out the blocks that say nothing.

    Parameters
    ----------
    stretches : sequence of StretchBlocks
        In the order in which they were run.
    rules : OnsetRules
        For the mask after a start and the length of a block.

    Returns
    -------
    Blocks
        Without blocks that begin within the mask, hold less than half of their cycles or
        have no median.

    Raises
    ------
    OutsideDomainError
        If the arrays of a stretch differ in length, counted cycles do not increase or a
        median is infinite.
    """
    kept = [_kept(stretch, rules) for stretch in stretches]
    names = tuple(dict.fromkeys(stretch.place for stretch in stretches))
    counts = [int(keep.sum()) for keep in kept]
    place = np.repeat([names.index(stretch.place) for stretch in stretches], counts)
    columns = {
        name: _joined([getattr(stretch, name) for stretch in stretches], kept)
        for name in ("first_counted", "last_counted", "decay_mpa")
    }
    degrees = _joined([_degrees(stretch) for stretch in stretches], kept)
    blocks = Blocks(
        place=place.astype(np.int64),
        visit=np.cumsum(np.diff(place, prepend=place[:1]) != 0).astype(np.int64),
        first_counted=columns["first_counted"].astype(np.int64),
        last_counted=columns["last_counted"].astype(np.int64),
        decay_mpa=columns["decay_mpa"],
        temperature_c=degrees,
        place_names=names,
        left_out=sum(keep.size for keep in kept) - sum(counts),
    )
    if not (np.diff(blocks.first_counted) > 0).all():
        raise OutsideDomainError("first_counted", "a smaller number later", "in increasing order")
    return blocks


def _kept(stretch: StretchBlocks, rules: OnsetRules) -> NDArray[np.bool_]:
    sizes = {
        np.size(column)
        for column in (
            stretch.first_counted,
            stretch.last_counted,
            stretch.cycles,
            stretch.cycles_since_start,
            stretch.decay_mpa,
            _degrees(stretch),
        )
    }
    if len(sizes) != 1:
        raise OutsideDomainError("stretch", sorted(sizes), "columns of one length")
    decay = np.asarray(stretch.decay_mpa, dtype=float)
    if np.isinf(decay).any():
        raise OutsideDomainError("decay_mpa", float("inf"), "finite, or nan for none")
    return is_read(
        np.asarray(stretch.cycles),
        np.asarray(stretch.cycles_since_start),
        decay,
        block_cycles=rules.block_cycles,
        masked_cycles=rules.masked_cycles,
    )


def is_read(
    cycles: IntArray,
    cycles_since_start: IntArray,
    decay_mpa: FloatArray,
    *,
    block_cycles: int,
    masked_cycles: int,
) -> NDArray[np.bool_]:
    """Which blocks are read: begun after the mask, at least half full, with a median."""
    settled = cycles_since_start > masked_cycles
    whole = cycles >= LEAST_SHARE_OF_BLOCK * block_cycles
    return np.asarray(settled & whole & ~np.isnan(decay_mpa))


def _degrees(stretch: StretchBlocks) -> FloatArray:
    if stretch.temperature_c is None:
        return np.full(np.size(stretch.decay_mpa), np.nan)
    return np.asarray(stretch.temperature_c, dtype=float)


def _joined(
    columns: Sequence[NDArray[np.generic]], kept: Sequence[NDArray[np.bool_]]
) -> FloatArray:
    parts = [
        np.asarray(column, dtype=float)[keep] for column, keep in zip(columns, kept, strict=True)
    ]
    return np.concatenate([np.empty(0), *parts])
