"""Folds the result rows of stage one into one summary for each stretch and lap."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from msgspec import Struct, structs

from analysis.reduction.edge_rule import edge_tallies
from analysis.reduction.tallies import counts_of, tally_of, together
from schemas.stretches import (
    FULL_SCALE,
    NOT_COUNTED_REASONS,
    OVER_INVALIDATION,
    Baseline,
    CycleGroup,
    CycleRange,
    CycleTally,
    EdgeCycle,
    StageOneRows,
    StationHour,
    Streak,
    StretchSummary,
)

_COUNTED = 0


class StretchBase(Struct, frozen=True, kw_only=True):
    """Where a stretch ran and which unit it cycled: what all its laps share."""

    stretch_key: int
    unit_key: int
    rig_id: str
    run_id: str
    station_no: int
    uncertainty_mpa: float | None = None


class _Lap:
    """Adds up the rows of one stretch and lap."""

    def __init__(self) -> None:
        self.cycles = 0
        self.counted = 0
        self.reasons: dict[str, int] = {}
        self.every_reason: dict[str, int] = {}
        self.absent = 0
        self.tally = CycleTally()
        self.clipped_counted = 0
        self.ranges: dict[str, CycleRange] = {}
        self.missing_before_end = 0
        self.missing_after_counted = 0
        self.inferred = 0
        self.over_at_end: int | None = None
        self.edge_cycles_judged: list[EdgeCycle] = []
        self.baselines: list[Baseline | None] = [None, None]
        self.at_edge_cycles = 0
        self.guarded_cycles = 0
        self.hours: list[StationHour] = []
        self.lowest = 0
        self.highest = 0
        self.first_at: datetime | None = None
        self.last_at: datetime | None = None
        self.attempts = 0
        self.streaks: list[tuple[Any, ...]] = []
        self.ends: list[tuple[Any, ...]] = []

    def add_total(self, row: tuple[Any, ...]) -> None:
        (_, _, misses, cycles, _, absent, invalidating, clipped) = row[:8]
        lowest, highest, first_at, last_at, at_edge = row[8:13]
        self.lowest = lowest if self.cycles == 0 else min(self.lowest, lowest)
        self.highest = max(self.highest, highest)
        self.first_at = first_at if self.first_at is None else min(self.first_at, first_at)
        self.last_at = last_at if self.last_at is None else max(self.last_at, last_at)
        self.cycles += cycles
        group = CycleGroup(
            misses=misses,
            cycles=cycles,
            invalidating_cycles=invalidating,
            clipped_cycles=clipped,
        )
        self.tally = together(self.tally, tally_of(group))
        edge, guarded = edge_tallies(misses, at_edge)
        self.at_edge_cycles += edge
        self.guarded_cycles += guarded
        if misses == _COUNTED:
            self.counted += cycles
            self.absent += absent
            self.clipped_counted += clipped
        else:
            reasons = reasons_missed(misses)
            self._widen(reasons[0], lowest, highest)
            self.reasons[reasons[0]] = self.reasons.get(reasons[0], 0) + cycles
            for reason in reasons:
                self.every_reason[reason] = self.every_reason.get(reason, 0) + cycles

    def add_peaks(self, row: tuple[Any, ...]) -> None:
        """Where peaks were over the invalidation limit or at the end of the scale."""
        _, _, is_invalidating, is_clipped, lowest, highest, peak = row
        if is_invalidating:
            self._widen(OVER_INVALIDATION, lowest, highest, peak)
        if is_clipped:
            self._widen(FULL_SCALE, lowest, highest, peak)

    def _widen(self, kind: str, lowest: int, highest: int, peak: float | None = None) -> None:
        known = self.ranges.get(kind)
        if known is not None:
            lowest = min(lowest, known.first_cycle_in_run)
            highest = max(highest, known.last_cycle_in_run)
            peaks = [each for each in (peak, known.highest_peak_mpa) if each is not None]
            peak = max(peaks, default=None)
        self.ranges[kind] = CycleRange(
            first_cycle_in_run=lowest, last_cycle_in_run=highest, highest_peak_mpa=peak
        )


def reasons_missed(misses: int) -> list[str]:
    """
    Reasons why a cycle does not count, the deciding one first.

    Parameters
    ----------
    misses : int
        As stage one says it: one bit for every reason, 0 for a counted cycle.

    Returns
    -------
    list of str
        In the order of `schemas.stretches.NOT_COUNTED_REASONS`.

    Examples
    --------
    >>> reasons_missed(0), reasons_missed(16 + 32)
    ([], ['UNDER_PRESSURE', 'TROUGH_HIGH'])
    """
    return [reason for bit, reason in enumerate(NOT_COUNTED_REASONS) if misses >> bit & 1]


def fold_summaries(
    rows: StageOneRows,
    bases: Mapping[int, StretchBase],
    texts: Mapping[int, str],
    persistent_cycles: int | None,
) -> list[StretchSummary]:
    """
    One summary for each stretch and lap.

    Parameters
    ----------
    rows : StageOneRows
        What the stage-one texts returned.
    bases : mapping of int to StretchBase
        Rig, run, station and unit by stretch key.
    texts : mapping of int to str
        The store's texts by key, for stop reasons.
    persistent_cycles : int or None
        Length from which a streak is a failure of its own; None if decay is not judged.

    Returns
    -------
    list of StretchSummary
        By stretch, then lap.
    """
    laps: dict[tuple[int, int], _Lap] = defaultdict(_Lap)
    for row in rows.totals:
        laps[row[0], row[1]].add_total(row)
    for row in rows.ends:
        laps[row[0], row[1]].ends.append(row)
    for row in rows.streaks:
        laps[row[0], row[1]].streaks.append(row)
    for row in rows.peaks:
        laps[row[0], row[1]].add_peaks(row)
    _add_details(laps, rows)
    last_lap: dict[int, int] = {}
    for stretch_key, lap_no in laps:
        last_lap[stretch_key] = max(lap_no, last_lap.get(stretch_key, 0))
    return [
        _summary(lap, lap_no, bases[stretch_key], texts, (last_lap[stretch_key], persistent_cycles))
        for (stretch_key, lap_no), lap in sorted(laps.items())
    ]


def _add_details(laps: Mapping[tuple[int, int], _Lap], rows: StageOneRows) -> None:
    """What is told of some laps only: their attempts, what lacks in them, blocks, hours."""
    for stretch_key, lap_no, attempts in rows.attempts:
        laps[stretch_key, lap_no].attempts = attempts
    for stretch_key, lap_no, missing in rows.missing_before_end:
        laps[stretch_key, lap_no].missing_before_end = missing
    for stretch_key, lap_no, missing in rows.missing_after_counted:
        laps[stretch_key, lap_no].missing_after_counted = missing
    for stretch_key, lap_no, inferred in rows.inferred:
        laps[stretch_key, lap_no].inferred = inferred
    for stretch_key, lap_no, over in rows.over_at_end:
        laps[stretch_key, lap_no].over_at_end = over
    for row in rows.edge_cycles:
        laps[row[0], row[1]].edge_cycles_judged.append(_edge_cycle(row))
    for row in rows.baselines:
        laps[row[1], row[2]].baselines = [_baseline(row[0], row[3:7]), _baseline(row[0], row[7:])]
    for row in rows.hours:
        laps[row[0], row[1]].hours.append(_hour(row[2:]))


def _summary(
    lap: _Lap,
    lap_no: int,
    base: StretchBase,
    texts: Mapping[int, str],
    context: tuple[int, int | None],
) -> StretchSummary:
    last_lap, persistent_cycles = context
    first = next(row for row in lap.ends if row[2])
    last = next(row for row in lap.ends if row[3])
    before_first = max(lap.lowest - 1, 0)
    missing_inside = lap.highest - lap.lowest + 1 - lap.cycles - lap.inferred
    assert lap.first_at is not None and lap.last_at is not None
    summary = StretchSummary(
        stretch_key=base.stretch_key,
        unit_key=base.unit_key,
        rig_id=base.rig_id,
        run_id=base.run_id,
        station_no=base.station_no,
        lap=lap_no,
        is_last_lap=lap_no == last_lap,
        logged_cycles=lap.cycles,
        counted_cycles=lap.counted + lap.inferred,
        not_counted_by=lap.reasons,
        not_counted_by_every=lap.every_reason,
        unlogged_cycles=before_first + missing_inside,
        unlogged_before_first=before_first,
        first_cycle_in_run=lap.lowest,
        last_cycle_in_run=lap.highest,
        first_started_at=lap.first_at,
        last_started_at=lap.last_at,
        odometer_first=first[6],
        odometer_last=last[6],
        stop_reason=None if last[5] is None else texts[last[5]],
        ends_in_burst=lap_no == last_lap and bool(last[7]),
        last_cycle_counted=last[4] == _COUNTED,
        under_pressure_at_end=lap.attempts,
        condition_absent_cycles=lap.absent,
        persistent=_persistent(lap.streaks, persistent_cycles),
        leading=next((_streak(row) for row in lap.streaks if row[4]), None),
        trailing=next((_streak(row) for row in lap.streaks if row[5]), None),
        supply_at_end_mpa=_recorded(last[8]),
        calibration_first=_named(first[10:], texts),
        calibration_last=_named(last[10:], texts),
        uncertainty_mpa=base.uncertainty_mpa,
    )
    return _with_details(summary, lap)


def _with_details(summary: StretchSummary, lap: _Lap) -> StretchSummary:
    """What the lap says of how its unit was tested, and of what lacks in it."""
    return structs.replace(
        summary,
        tally=together(lap.tally, CycleTally(inferred_cycles=lap.inferred)),
        clipped_counted_cycles=lap.clipped_counted,
        ranges=lap.ranges,
        missing_before_end=lap.missing_before_end if summary.is_last_lap else 0,
        missing_after_counted=lap.missing_after_counted,
        over_at_end=_over_at_end(summary, lap),
        edge_cycles_judged=lap.edge_cycles_judged,
        baseline_first=lap.baselines[0],
        baseline_last=lap.baselines[1],
        at_edge_cycles=lap.at_edge_cycles,
        guarded_cycles=lap.guarded_cycles,
        hours=lap.hours,
    )


def _persistent(streaks: Iterable[tuple[Any, ...]], cycles: int | None) -> Streak | None:
    if cycles is None:
        return None
    long_enough = [row for row in streaks if row[2] >= cycles]
    return min(map(_streak, long_enough), key=lambda streak: streak.first_counted, default=None)


def _baseline(block_cycles: int, medians: tuple[Any, ...]) -> Baseline | None:
    """Medians of a block, each where at least half of the block's cycles tell it."""
    decays, decay_mpa, rises, rise_time_s = medians
    fewest = block_cycles / 2
    if decays < fewest and rises < fewest:
        return None
    return Baseline(
        pressure_decay_mpa=decay_mpa if decays >= fewest else None,
        rise_time_s=rise_time_s if rises >= fewest else None,
    )


def _hour(means: tuple[Any, ...]) -> StationHour:
    return StationHour(**dict(zip(StationHour.__struct_fields__, means, strict=True)))


def _named(keys: Sequence[int | None], texts: Mapping[int, str]) -> str | None:
    """The text of the first key, if there is one."""
    return next((texts[key] for key in keys if key is not None), None)


def _recorded(value: float | None) -> float | None:
    """None where the upload has no such column or the cell says nothing."""
    return None if value is None or math.isnan(value) else value


def _streak(row: tuple[Any, ...]) -> Streak:
    up_to = counts_of(row[6])
    return Streak(
        length_cycles=int(row[2]),
        first_counted=up_to.counted_cycles,
        first_logged=up_to.logged_cycles,
        first_cycle_in_run=int(row[3]),
        missing_before=int(row[7]),
        up_to=up_to.tally,
        over_before=int(row[8]),
    )


def _edge_cycle(row: tuple[Any, ...]) -> EdgeCycle:
    counter, decay_mpa, groups, missing = row[2:]
    place = _streak((*row[:2], 1, counter, False, False, groups, missing, 0))
    return EdgeCycle(place=place, pressure_decay_mpa=_recorded(decay_mpa))


def _over_at_end(summary: StretchSummary, lap: _Lap) -> int:
    """Told by stage one where counters lack; without a gap it is the streak that ends the lap."""
    if lap.over_at_end is not None:
        return lap.over_at_end
    return 0 if summary.trailing is None else summary.trailing.length_cycles
