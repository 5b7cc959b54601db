"""The truth table of a lot: what the reduction of its rows must find."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from msgspec import Struct, to_builtins

from service.demo.facts import LotPlan, SensorError, UnitPlan
from service.demo.files import WrittenFile
from service.demo.rows import run_rows
from service.demo.scenario import LOWER_MPA, OVER_LIMIT_CYCLES, RESOLUTION_MPA, scaled


class CorrectedTruth(Struct, frozen=True, kw_only=True):
    """
    A unit's cycles once its sensor is known to be wrong.

    `found_out_cycles` counted as shown and did not reach the band in truth.
    """

    counted_cycles: int
    found_out_cycles: int


class UnitTruth(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One unit's life as it was generated.

    `cycles` is the counted cycle that failed, or the counted cycles reached; a leak
    found at an inspection has `cycles_low` and `cycles_high` instead, the counts of
    the last clean inspection and of that one. Totals are of all rows; those up to the
    ending leave out the rows that follow a failure. `true_life_cycles` is the unit's
    own life, which a test that ends earlier does not see; `onset_cycles` the count
    after which its decay grows, where that is within the test. `holds` are the
    questions that stay open about the unit. `corrected` is what its cycles are once
    the sensor of its station was found out.
    """

    unit_serial: str
    component_batch: str
    rig_id: str
    station_no: int
    ending: str
    credited_cycles: int
    logged_cycles: int
    counted_cycles: int
    not_counted_cycles: int
    not_counted_by_first_reason: dict[str, int]
    unlogged_cycles: int
    up_to_ending: dict[str, int]
    run_count: int
    counter_resets: int
    true_life_cycles: int
    cycles: int | None = None
    cycles_low: int | None = None
    cycles_high: int | None = None
    failure_mode: str | None = None
    onset_cycles: int | None = None
    moved_to_station_no: int | None = None
    holds: tuple[str, ...] = ()
    corrected: CorrectedTruth | None = None


def unit_truth(plan: LotPlan, unit: UnitPlan) -> UnitTruth:
    """The truth about one unit of a planned lot."""
    logged = sum(run.logged_rows for run in unit.runs)
    by_reason = {
        "MODE": sum(run.cold_rows for run in unit.runs if run.preheated),
        "UNDER_PRESSURE": sum(run.short_rows for run in unit.runs),
        "TEMPERATURE": sum(run.cold_rows for run in unit.runs if not run.preheated),
    }
    not_counted = sum(by_reason.values())
    # The failing cycle is followed by the others of its sustained run, and then the rig trips.
    after = OVER_LIMIT_CYCLES - 1 if unit.failed_at else 0
    counted = logged - not_counted
    low, high = unit.found_between or (None, None)
    last_station_no = unit.runs[-1].station_no
    return UnitTruth(
        unit_serial=unit.facts.unit_serial,
        component_batch=unit.facts.component_batch,
        rig_id=unit.facts.rig_id,
        station_no=unit.facts.station_no,
        ending=unit.ending,
        cycles=None if unit.found_between else counted - after,
        cycles_low=low,
        cycles_high=high,
        credited_cycles=unit.credited_cycles,
        logged_cycles=logged,
        counted_cycles=counted,
        not_counted_cycles=not_counted,
        not_counted_by_first_reason={name: n for name, n in by_reason.items() if n},
        unlogged_cycles=unit.unlogged_cycles,
        up_to_ending={"logged_cycles": logged - after, "counted_cycles": counted - after},
        run_count=len(unit.runs),
        counter_resets=sum(1 for run in unit.runs if run.reset_row),
        true_life_cycles=scaled(unit.facts.life_cycles, plan.scale),
        failure_mode=unit.facts.mode if unit.failed_at or unit.found_between else None,
        onset_cycles=_onset(unit),
        moved_to_station_no=(None if last_station_no == unit.facts.station_no else last_station_no),
        holds=_holds(plan, unit),
        corrected=_corrected(plan, unit),
    )


def _onset(unit: UnitPlan) -> int | None:
    """Counted cycle after which decay grows; a leak outside hardly shows."""
    last = unit.runs[-1].counted_before + unit.runs[-1].counted_cycles
    begins = max(0.0, unit.leak.onset_cycles)
    return int(begins) if unit.facts.mode == "SEAL_DECAY" and begins < last else None


def _holds(plan: LotPlan, unit: UnitPlan) -> tuple[str, ...]:
    """Questions that nobody has answered about a unit when all lots are in."""
    numbers = {reexport.unit_no for reexport in plan.facts.reexports}
    asked = {
        "CONFLICTING_ROWS": unit.facts.unit_no in numbers,
        # The rig says done, the rows do not: the unit may go on, and is silent.
        "UNIT_OVERDUE": unit.ending == "SUSPENDED",
        "CALIBRATION_FOUND_OUT": _error_of(plan, unit) is not None,
    }
    return tuple(name for name, is_so in asked.items() if is_so)


def _error_of(plan: LotPlan, unit: UnitPlan) -> SensorError | None:
    place = (unit.facts.rig_id, unit.facts.station_no)
    errors = plan.facts.sensor_errors
    return next((each for each in errors if (each.rig_id, each.station_no) == place), None)


def _corrected(plan: LotPlan, unit: UnitPlan) -> CorrectedTruth | None:
    """Cycles whose true peak, (shown - offset) / gain, still reaches the band."""
    error = _error_of(plan, unit)
    if error is None:
        return None
    counted = found_out = 0
    for run in unit.runs:
        rows = run_rows(plan.facts, unit, run)
        true_mpa = (rows.peak_steps[rows.counts] * RESOLUTION_MPA - error.offset_mpa) / error.gain
        reached = int(np.count_nonzero(true_mpa >= LOWER_MPA))
        counted += reached
        found_out += true_mpa.size - reached
    return CorrectedTruth(counted_cycles=counted, found_out_cycles=found_out)


def lot_truth(plan: LotPlan, files: Sequence[WrittenFile]) -> dict[str, Any]:
    """
    The truth about a lot, ready for JSON: seed, law, right answer, units, files.

    Parameters
    ----------
    plan : LotPlan
        The timetable.
    files : sequence of WrittenFile
        In the order of sending.
    """
    facts = plan.facts
    return {
        "lot_number": facts.lot_number,
        "title": facts.title,
        "scale": plan.scale,
        "seed": facts.seed,
        "law": to_builtins(facts.law),
        "right_answer": {
            name: value
            for name, value in to_builtins(facts.right_answer).items()
            if value is not None
        },
        "row_count": plan.row_count,
        "units": [to_builtins(unit_truth(plan, unit)) for unit in plan.units],
        "uploads": [to_builtins(file) for file in files],
    }
