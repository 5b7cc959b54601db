"""Folds the result rows of stage one into one summary for each stretch and lap."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from msgspec import Struct

from schemas.stretches import NOT_COUNTED_REASONS, Streak, StretchSummary

_COUNTED = 0


class StretchBase(Struct, frozen=True, kw_only=True):
    """Where a stretch ran and which unit it cycled: what all its laps share."""

    stretch_key: int
    unit_key: int
    rig_id: str
    run_id: str
    station_no: int


class StageOneRows(Struct, frozen=True, kw_only=True):
    """
    Result rows of the stage-one texts `totals`, `ends` and `streaks_*`, as they came.

    `attempts` are (stretch, lap, cycles below the lower limit at its end).
    """

    totals: list[tuple[Any, ...]]
    ends: list[tuple[Any, ...]]
    streaks: list[tuple[Any, ...]]
    attempts: list[tuple[Any, ...]]


class _Lap:
    """Adds up the rows of one stretch and lap."""

    def __init__(self) -> None:
        self.cycles = 0
        self.counted = 0
        self.reasons: dict[str, int] = {}
        self.every_reason: dict[str, int] = {}
        self.absent = 0
        self.invalidating = 0
        self.clipped = 0
        self.lowest = 0
        self.highest = 0
        self.first_at: datetime | None = None
        self.last_at: datetime | None = None
        self.attempts = 0
        self.streaks: list[tuple[Any, ...]] = []
        self.ends: list[tuple[Any, ...]] = []

    def add_total(self, row: tuple[Any, ...]) -> None:
        (_, _, misses, cycles, _, absent, invalidating, clipped) = row[:8]
        lowest, highest, first_at, last_at = row[8:]
        self.lowest = lowest if self.cycles == 0 else min(self.lowest, lowest)
        self.highest = max(self.highest, highest)
        self.first_at = first_at if self.first_at is None else min(self.first_at, first_at)
        self.last_at = last_at if self.last_at is None else max(self.last_at, last_at)
        self.cycles += cycles
        self.invalidating += invalidating
        self.clipped += clipped
        if misses == _COUNTED:
            self.counted += cycles
            self.absent += absent
        else:
            reasons = reasons_missed(misses)
            self.reasons[reasons[0]] = self.reasons.get(reasons[0], 0) + cycles
            for reason in reasons:
                self.every_reason[reason] = self.every_reason.get(reason, 0) + cycles


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
    for stretch_key, lap_no, attempts in rows.attempts:
        laps[stretch_key, lap_no].attempts = attempts
    last_lap: dict[int, int] = {}
    for stretch_key, lap_no in laps:
        last_lap[stretch_key] = max(lap_no, last_lap.get(stretch_key, 0))
    return [
        _summary(lap, lap_no, bases[stretch_key], texts, (last_lap[stretch_key], persistent_cycles))
        for (stretch_key, lap_no), lap in sorted(laps.items())
    ]


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
    missing_inside = lap.highest - lap.lowest + 1 - lap.cycles
    is_last_lap = lap_no == last_lap
    assert lap.first_at is not None and lap.last_at is not None
    return StretchSummary(
        stretch_key=base.stretch_key,
        unit_key=base.unit_key,
        rig_id=base.rig_id,
        run_id=base.run_id,
        station_no=base.station_no,
        lap=lap_no,
        is_last_lap=is_last_lap,
        logged_cycles=lap.cycles,
        counted_cycles=lap.counted,
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
        ends_in_burst=is_last_lap and bool(last[7]),
        last_cycle_counted=last[4] == _COUNTED,
        under_pressure_at_end=lap.attempts,
        condition_absent_cycles=lap.absent,
        invalidating_cycles=lap.invalidating,
        clipped_cycles=lap.clipped,
        persistent=_persistent(lap.streaks, persistent_cycles),
        leading=next((_streak(row) for row in lap.streaks if row[6]), None),
        trailing=next((_streak(row) for row in lap.streaks if row[7]), None),
        supply_at_end_mpa=_recorded(last[8]),
    )


def _persistent(streaks: Iterable[tuple[Any, ...]], cycles: int | None) -> Streak | None:
    if cycles is None:
        return None
    long_enough = [row for row in streaks if row[2] >= cycles]
    return min(map(_streak, long_enough), key=lambda streak: streak.first_counted, default=None)


def _recorded(value: float | None) -> float | None:
    """None where the upload has no such column or the cell says nothing."""
    return None if value is None or math.isnan(value) else value


def _streak(row: tuple[Any, ...]) -> Streak:
    return Streak(
        length_cycles=int(row[2]),
        first_counted=int(row[3]),
        first_logged=int(row[4]),
        first_cycle_in_run=int(row[5]),
    )
