"""The truth table of a lot: what the reduction of its rows must find."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from msgspec import Struct, to_builtins

from service.demo.facts import LotPlan, UnitPlan
from service.demo.files import WrittenFile
from service.demo.scenario import OVER_LIMIT_CYCLES, scaled


class UnitTruth(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One unit's life as it was generated.

    `cycles` is the counted cycle that failed, or the counted cycles reached.
    Totals are of all rows; those up to the ending leave out the rows that
    follow a failure. `true_life_cycles` is the unit's own life, which a test
    that ends earlier does not see.
    """

    unit_serial: str
    component_batch: str
    rig_id: str
    station_no: int
    ending: str
    cycles: int
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
    failure_mode: str | None = None


def unit_truth(plan: LotPlan, unit: UnitPlan) -> UnitTruth:
    """The truth about one unit of a planned lot."""
    logged = sum(run.row_count for run in unit.runs)
    by_reason = {
        "MODE": sum(run.warm_up_rows for run in unit.runs),
        "UNDER_PRESSURE": sum(run.short_rows for run in unit.runs),
    }
    not_counted = sum(by_reason.values())
    # The failing cycle is followed by the others of its sustained run, and then the rig trips.
    after = OVER_LIMIT_CYCLES - 1 if unit.failed_at else 0
    counted = logged - not_counted
    return UnitTruth(
        unit_serial=unit.facts.unit_serial,
        component_batch=unit.facts.component_batch,
        rig_id=unit.facts.rig_id,
        station_no=unit.facts.station_no,
        ending=unit.ending,
        cycles=counted - after,
        credited_cycles=unit.credited_cycles,
        logged_cycles=logged,
        counted_cycles=counted,
        not_counted_cycles=not_counted,
        not_counted_by_first_reason={name: n for name, n in by_reason.items() if n},
        unlogged_cycles=0,
        up_to_ending={"logged_cycles": logged - after, "counted_cycles": counted - after},
        run_count=len(unit.runs),
        counter_resets=sum(1 for run in unit.runs if run.reset_row),
        true_life_cycles=scaled(unit.facts.life_cycles, plan.scale),
        failure_mode="SEAL_DECAY" if unit.failed_at else None,
    )


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
