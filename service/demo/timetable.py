"""From the facts of a lot to its timetable: every run of every unit, planned to the row.

Runs are planned without making their rows, so that a lot of any length takes no
memory. A rig's interruptions are timed by its lead unit (the one that lasts
longest) and stop every station of the rig at that instant.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Literal

import numpy as np

from schemas.lots import CyclePoint, NewInspection, NewRigEvent, UnitName
from service.demo.facts import LotFacts, LotPlan, RunPlan, Stop, StopPurpose, UnitFacts, UnitPlan
from service.demo.goals import goals_of
from service.demo.leaks import leak_of
from service.demo.rig_calendar import SECOND_US, RigCalendar, Window, instant
from service.demo.run_shapes import RunShape, run_shape
from service.demo.scenario import (
    PERIOD_US,
    PLANNED_CYCLES,
    TARGET_CYCLES,
    scaled,
)

InspectionPurpose = Literal["SCHEDULED", "AFTER_STOP", "AT_TARGET", "END_OF_TEST"]
SMALLEST_SCALE = 0.05
LARGEST_SCALE = 100
OPEN_TAIL_CYCLES = 600
"""Cycles done since the last inspection where a test is still going."""

_ODOMETER_PER_DAY = 40_000  # more than the 34,560 cycles that a day can hold
_CHANGEOVER_US = 45 * 60 * SECOND_US
_LEAK_FOUND = 4
_ROWS_AROUND_A_GAP = 60


def plan_lot(facts: LotFacts, *, scale: float) -> LotPlan:
    """
    The timetable of a lot.

    Parameters
    ----------
    facts : LotFacts
        What is true of the lot at full length.
    scale : float, 0.05 to 100, keyword only
        Length of the test; 1.0 is the full one, 0.05 the demo's.

    Returns
    -------
    LotPlan
        Units in their order, each with its runs in order of time.

    Raises
    ------
    ValueError
        If `scale` is outside 0.05 to 100: a shorter test has no room for its
        inspections and interruptions.

    Examples
    --------
    >>> from service.demo.lots import lot
    >>> plan_lot(lot("L02"), scale=0.05).units[8].failed_at
    8181
    """
    if not SMALLEST_SCALE <= scale <= LARGEST_SCALE:
        raise ValueError(
            f"scale must be between {SMALLEST_SCALE} and {LARGEST_SCALE}, got {scale!r}"
        )
    units: list[UnitPlan] = []
    events: list[NewRigEvent] = []
    for rig_id in dict.fromkeys(unit.rig_id for unit in facts.units):
        rig = RigCalendar(facts, rig_id, scale)
        stations: dict[int, _Station] = {}
        for station_no in rig.stations_lead_first():
            stations[station_no] = _Station(rig, station_no, stations)
            units.extend(stations[station_no].plan())
        events.extend(rig.events())
    events.extend(_taken_off(unit) for unit in units if unit.facts.unit_no in facts.taken_off)
    units.sort(key=lambda unit: unit.facts.unit_no)
    return LotPlan(facts=facts, scale=scale, units=tuple(units), rig_events=tuple(events))


def _taken_off(unit: UnitPlan) -> NewRigEvent:
    """The record that a unit was taken off after its test, for no other reason."""
    lot_number, _, _ = unit.facts.unit_serial.partition("-")
    last = unit.runs[-1]
    return NewRigEvent(
        event_key=f"{unit.facts.unit_serial}-off",
        rig_id=unit.facts.rig_id,
        station_no=last.station_no,
        occurred_at=instant(last.start_us + last.row_count * PERIOD_US + 20 * 60 * SECOND_US),
        kind="REMOVED",
        cause="SCHEDULED",
        unit=UnitName(lot_number=lot_number, unit_serial=unit.facts.unit_serial),
    )


class _Station:
    """One station during one lot: plans its units one after another."""

    def __init__(self, rig: RigCalendar, station_no: int, of_rig: dict[int, _Station]) -> None:
        self.rig = rig
        self.station_no = station_no
        self.of_rig = of_rig
        self.is_lead = rig.stations_lead_first()[0] == station_no
        self.clock_us = rig.start_us + station_no * 90 * SECOND_US
        day = (rig.facts.starts_at - datetime(2025, 1, 1, tzinfo=UTC)).days
        self.odometer = day * _ODOMETER_PER_DAY + station_no * 1_000
        self.run_count = 0

    def plan(self) -> list[UnitPlan]:
        """All units of the station; only the first one of the lead station times the rig."""
        plans = []
        for number, unit in enumerate(self.rig.units_of(self.station_no)):
            lead_stops = self.rig.stops() if self.is_lead and number == 0 else []
            plans.append(_UnitPlanner(self, unit, lead_stops).plan())
            self.clock_us += _CHANGEOVER_US
        return plans


class _UnitPlanner:
    """Plans the runs and inspections of one unit on its station."""

    def __init__(self, station: _Station, unit: UnitFacts, lead_stops: list[Stop]) -> None:
        self.station = station
        self.rig = station.rig
        self.scale = station.rig.scale
        self.unit = unit
        self.lead_stops = lead_stops
        self.goals = goals_of(unit, reached_cycles=self.rig.facts.reached_cycles, scale=self.scale)
        self.counted = 0
        self.last_end_us = 0
        self.runs: list[RunPlan] = []
        self.inspections: list[NewInspection] = []

    def plan(self) -> UnitPlan:
        """The unit's whole test."""
        goals = list(self.goals.counts)
        while goals or self._open_tail_due():
            self._plan_run(goals)
        starts = [run.counted_before for run in self.runs] + [self.counted]
        leak = leak_of(
            self.unit,
            scale=self.scale,
            seed=self.rig.facts.seed,
            last_cycle=self.goals.failed_at or self.counted,
            starts=starts,
        )
        return UnitPlan(
            facts=self.unit,
            scale=self.scale,
            ending=self._ending(),
            failed_at=self.goals.failed_at,
            found_between=self.goals.found_between,
            credited_cycles=self._credited(),
            leak=leak,
            runs=tuple(self.runs),
            inspections=tuple(self.inspections),
        )

    def _ending(self) -> Literal["FAILED", "FAILED_BETWEEN", "RUN_OUT", "SUSPENDED", "RUNNING"]:
        if self.goals.failed_at:
            return "FAILED"
        if self.goals.found_between:
            return "FAILED_BETWEEN"
        if self.rig.facts.reached_cycles:
            return "RUNNING"
        return "SUSPENDED" if self.unlogged else "RUN_OUT"

    def _credited(self) -> int:
        """Cycles up to the failure or the last clean inspection; what is not written is not."""
        if self.goals.found_between:
            return self.goals.found_between[0]
        return self.goals.failed_at or self.goals.reached - self.unlogged

    @property
    def unlogged(self) -> int:
        """Cycles so far that were done and not written."""
        return sum(run.gap_rows for run in self.runs)

    def _open_tail_due(self) -> bool:
        open_end = self.goals.reached + scaled(OPEN_TAIL_CYCLES, self.scale)
        return self._ending() == "RUNNING" and self.counted < open_end

    def _plan_run(self, goals: list[int]) -> None:
        """The next run, or none where an interruption leaves no room for one."""
        start_us = self.rig.free_from(self.station.clock_us)
        window = self.rig.next_window(start_us)
        rng = self._rng()
        stop = self._lead_stop(goals)
        goal = scaled(stop.at_cycles, self.scale) if stop else self._goal(goals)
        shape = run_shape(
            rng,
            need=goal - self.counted,
            most_rows=(window.start_us - start_us) // PERIOD_US if window else None,
            cold=not self.runs or self.rig.cooled_between(self.last_end_us, start_us),
            scale=self.scale,
        )
        if shape is None:
            assert window is not None
            self.station.clock_us = window.end_us
            return
        if shape.counted_cycles < goal - self.counted:
            assert window is not None
            self._add_run(start_us, shape, window.stop)
            self._after_window(window)
        elif stop:
            self.lead_stops.remove(stop)
            self._add_run(start_us, shape, stop)
            self._open_window(stop)
        else:
            self._add_run(start_us, shape, None if not goals else self._goal_stop(goals))
            self._after_goal(goals, rng)

    def _rng(self) -> np.random.Generator:
        return np.random.default_rng(
            [self.rig.facts.seed, int(self.unit.unit_no), self.station.run_count, 1]
        )

    def _lead_stop(self, goals: list[int]) -> Stop | None:
        """The next interruption that this unit times, where it comes before the next goal."""
        if not self.lead_stops:
            return None
        stop = self.lead_stops[0]
        return stop if scaled(stop.at_cycles, self.scale) < self._goal(goals) else None

    def _goal(self, goals: list[int]) -> int:
        return goals[0] if goals else self.goals.reached + scaled(OPEN_TAIL_CYCLES, self.scale)

    def _goal_stop(self, goals: list[int]) -> Stop:
        """The stop at a goal: the unit's failure, its planned count or an inspection."""
        purpose: StopPurpose = "DECAY" if self.goals.failed_at and len(goals) == 1 else "CHECK"
        if goals[0] == scaled(PLANNED_CYCLES, self.scale) and not self.goals.failed_at:
            purpose = "DONE"
        return Stop(
            rig_id=self.rig.rig_id,
            at_cycles=goals[0],
            minutes=0,
            purpose=purpose,
        )

    def _add_run(self, start_us: int, shape: RunShape, stop: Stop | None) -> None:
        self.station.run_count += 1
        run_no = len(self.runs) + 1
        end_us = start_us + shape.row_count * PERIOD_US
        gap_row, gap_rows = self._gap(shape)
        self._note_jumps(start_us, shape)
        jump_row, jump_us = self._jump_within(start_us, end_us)
        has_reset = (self.unit.unit_no, run_no) in self.rig.resets
        self.runs.append(
            RunPlan(
                run_no=run_no,
                run_id=(
                    f"{self.rig.facts.lot_number}-S{self.station.station_no}"
                    f"-{self.station.run_count:03d}"
                ),
                station_no=self.station.station_no,
                start_us=start_us,
                row_count=shape.row_count,
                cold_rows=shape.cold_rows,
                preheated=self.rig.rig_id not in self.rig.facts.unheated_rigs,
                short_bursts=shape.short_bursts,
                counted_before=self.counted,
                odometer_before=self.station.odometer,
                stop_purpose=stop.purpose if stop else None,
                reset_row=shape.row_count * 3 // 10 if has_reset else 0,
                jump_row=jump_row,
                jump_us=jump_us,
                gap_row=gap_row,
                gap_rows=gap_rows,
            )
        )
        self.counted += shape.counted_cycles
        self.station.odometer += shape.row_count
        self.last_end_us = self.station.clock_us = end_us

    def _gap(self, shape: RunShape) -> tuple[int, int]:
        """First row and length of what is not written in the next run, once for a unit."""
        if self.unlogged:
            return 0, 0
        # Not over a burst: all cycles that are not written would have counted.
        earliest = max([shape.cold_rows, *(first + rows for first, rows in shape.short_bursts)])
        for off in self.rig.facts.logging_off:
            rows = scaled(off.cycles, self.scale)
            wanted = shape.cold_rows + scaled(off.at_cycles, self.scale) - self.counted
            first = max(wanted, earliest + _ROWS_AROUND_A_GAP)
            if off.unit_no == self.unit.unit_no and (
                first + rows + _ROWS_AROUND_A_GAP <= shape.row_count
            ):
                return first, rows
        return 0, 0

    def _note_jumps(self, start_us: int, shape: RunShape) -> None:
        """Time the clock's settings that the lead unit's cycles name."""
        if not (self.station.is_lead and self.unit == self.rig.units_of(self.unit.station_no)[0]):
            return
        for jump in self.rig.facts.clock_jumps:
            row = shape.cold_rows + scaled(jump.at_cycles, self.scale) - self.counted
            if jump.rig_id == self.rig.rig_id and shape.cold_rows < row < shape.row_count:
                self.rig.jumps.append((start_us + row * PERIOD_US, jump.seconds * SECOND_US))

    def _jump_within(self, start_us: int, end_us: int) -> tuple[int, int]:
        for at_us, shift_us in self.rig.jumps:
            if start_us < at_us < end_us:
                return (at_us - start_us) // PERIOD_US, shift_us
        return 0, 0

    def _open_window(self, stop: Stop) -> None:
        """The lead unit has come to an interruption: it now stands in time for the whole rig."""
        end_us = self.last_end_us + stop.minutes * 60 * SECOND_US
        window = Window(stop=stop, start_us=self.last_end_us, end_us=end_us)
        self.rig.windows.append(window)
        self._after_window(window)

    def _after_window(self, window: Window) -> None:
        if window.stop.purpose == "LOW":
            self._inspect("AFTER_STOP", window.start_us + 30 * 60 * SECOND_US)
        self.station.clock_us = window.end_us

    def _after_goal(self, goals: list[int], rng: np.random.Generator) -> None:
        """Inspect where the run ended as planned; a failed unit is taken off instead."""
        if not goals:
            return
        goal = goals.pop(0)
        if self.goals.failed_at and not goals:
            return
        purpose: InspectionPurpose = "SCHEDULED"
        if goal == scaled(TARGET_CYCLES, self.scale):
            purpose = "AT_TARGET"
        elif goal == scaled(PLANNED_CYCLES, self.scale):
            purpose = "END_OF_TEST"
        for leak in self.rig.facts.rig_side_leaks:
            if leak.unit_no == self.unit.unit_no and goal == scaled(leak.at_cycles, self.scale):
                self._inspect(purpose, self.last_end_us + 2 * 60 * SECOND_US, "GAUGE_PORT_LEAK")
        self._inspect(purpose, self.last_end_us + 5 * 60 * SECOND_US, self._leak_outside())
        pause_s = 480 + 1_800 * self.scale + float(rng.uniform(0, 60))
        self.station.clock_us = self.last_end_us + round(pause_s) * SECOND_US
        for move in self.rig.facts.moves:
            if move.unit_no == self.unit.unit_no and goal == scaled(move.at_cycles, self.scale):
                self._move_to(self.station.of_rig[move.station_no])

    def _move_to(self, station: _Station) -> None:
        """Go on at another station of the rig, which its own units have left."""
        station.clock_us = max(station.clock_us, self.station.clock_us) + _CHANGEOVER_US
        self.station = station

    def _leak_outside(self) -> str | None:
        """What the inspection finds that comes first after a rod seal began to leak."""
        between = self.goals.found_between
        return "ROD_SEAL_LEAK" if between is not None and self.counted >= between[1] else None

    def _inspect(self, purpose: InspectionPurpose, at_us: int, found: str | None = None) -> None:
        """An inspection after the last row so far: clean, or one that finds a leak."""
        run = self.runs[-1]
        number = len(self.inspections) + 1
        self.inspections.append(
            NewInspection(
                inspection_key=f"{self.unit.unit_serial}-check-{number:02d}",
                unit=UnitName(
                    lot_number=self.rig.facts.lot_number, unit_serial=self.unit.unit_serial
                ),
                inspected_at=instant(at_us),
                purpose=purpose,
                after=CyclePoint(
                    rig_id=self.rig.rig_id,
                    run_id=run.run_id,
                    cycle_in_run=run.last_cycle_in_run,
                ),
                leak_class=_LEAK_FOUND if found else int(self.unit.unit_no % 7 == 0),
                function_check="PASS",
                failure_mode=found,
            )
        )
