"""The row model: what the sensors of a station write during one planned run."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from msgspec import Struct, structs
from numpy.typing import NDArray

from service.demo.facts import Leak, LotFacts, RunPlan, UnitPlan
from service.demo.scenario import (
    BASE_DECAY_MPA,
    DECAY_LIMIT_MPA,
    LOWER_MPA,
    OVER_LIMIT_CYCLES,
    PERIOD_US,
    RESOLUTION_MPA,
    SET_MPA,
    STATION_STEP_MPA,
    UPPER_MPA,
)

Floats: TypeAlias = NDArray[np.float64]
Integers: TypeAlias = NDArray[np.int64]
Flags: TypeAlias = NDArray[np.bool_]

_LIMIT_STEPS = round(DECAY_LIMIT_MPA / RESOLUTION_MPA)
_HOUR_US = 3_600_000_000
_PEAK_OFFSET_MPA = 0.05
_OF_PEAK, _OF_DECAY, _OF_SUPPLY = 28, 2, 3
"""Seeds of what is constant about stations and supplies."""
_PLANS = ("unit", "run")
_TRANSIENT_CYCLES = 240  # after which a twentieth of the restart's excess is left


class RunRows(Struct, frozen=True, kw_only=True):
    """
    Rows of one run, in the order they were written.

    `true_us` is the true instant that orders rows of several stations;
    `started_us` is what the rig's clock said. Pressures are whole steps of the
    sensor's resolution, times thousandths, temperatures tenths: division at the
    end gives the decimal that a controller would have written.
    """

    unit: UnitPlan
    run: RunPlan
    true_us: Integers
    started_us: Integers
    cycle_in_run: Integers
    odometer: Integers
    in_warm_up: Flags
    counts: Flags
    peak_steps: Integers
    dwell_start_steps: Integers
    decay_steps: Integers
    low_steps: Integers
    supply_steps: Integers
    rise_ms: Integers
    dwell_ms: Integers
    rest_ms: Integers
    temperature_tenths: Integers


def run_rows(facts: LotFacts, unit: UnitPlan, run: RunPlan) -> RunRows:
    """
    All rows of one run.

    Parameters
    ----------
    facts : LotFacts
        The lot: its seed makes the same rows every time.
    unit : UnitPlan
        The unit, whose decay grows from its onset.
    run : RunPlan
        The run; it decides which rows count.

    Returns
    -------
    RunRows
        One entry per commanded cycle.

    Notes
    -----
    Noise near the decay limit could make five consecutive cycles exceed it
    before the failure that the truth table states. Every fourth counted cycle
    before it is therefore kept at or below the limit, the last one before it
    among them; the five that begin with it are kept above.
    """
    rng = np.random.default_rng([facts.seed, unit.facts.unit_no, run.run_no, 2])
    rows = np.arange(run.row_count, dtype=np.int64)
    is_cold = rows < run.cold_rows
    short = _short(run)
    counts = ~is_cold & ~short
    counted = run.counted_before + np.cumsum(counts)
    true_us = run.start_us + rows * PERIOD_US + rng.integers(-4, 5, run.row_count) * 1_000
    started_us = true_us.copy()
    if run.jump_row:
        started_us[run.jump_row :] += run.jump_us
    scale_rows = max(1.0, _TRANSIENT_CYCLES * unit.scale)
    since_start = np.exp(-3.0 * rows / scale_rows)
    temperature = _temperature(rng, run, true_us, since_start)
    peak = _peak(rng, (unit.facts.rig_id, run.station_no), short, true_us)
    decay = _decay(rng, (unit, run), counted, temperature, since_start)
    rise = _thousandths(rng, 0.300, 0.010, (0.25, 0.39), run.row_count)
    dwell = _thousandths(rng, 1.500, 0.005, (1.46, 1.54), run.row_count)
    made = RunRows(
        unit=unit,
        run=run,
        true_us=true_us,
        started_us=started_us,
        cycle_in_run=_counter(rows, run),
        odometer=run.odometer_before + rows + 1,
        in_warm_up=is_cold & run.preheated,
        counts=counts,
        peak_steps=peak,
        dwell_start_steps=peak - _steps(np.clip(rng.normal(0.35, 0.03, run.row_count), 0.2, 0.5)),
        decay_steps=_decay_steps(decay, counted, counts, unit),
        low_steps=_steps(np.clip(rng.normal(0.08, 0.012, run.row_count), 0.0, 0.14)),
        supply_steps=_steps(np.where(short, 33.8, 36.0) + rng.normal(0, 0.12, run.row_count)),
        rise_ms=rise,
        dwell_ms=dwell,
        rest_ms=2_150 - rise - dwell,
        temperature_tenths=np.rint(temperature * 10).astype(np.int64),
    )
    return _without_gap(made) if run.gap_rows else made


def _without_gap(rows: RunRows) -> RunRows:
    """The rows that were written; the counters went on meanwhile."""
    first, length = rows.run.gap_row, rows.run.gap_rows
    written = np.delete(np.arange(rows.run.row_count), np.s_[first : first + length])
    arrays = {
        name: getattr(rows, name)[written] for name in rows.__struct_fields__ if name not in _PLANS
    }
    return structs.replace(rows, **arrays)


def _short(run: RunPlan) -> Flags:
    """True for rows that fall short of pressure."""
    short = np.zeros(run.row_count, dtype=np.bool_)
    for first, length in run.short_bursts:
        short[first : first + length] = True
    return short


def _counter(rows: Integers, run: RunPlan) -> Integers:
    """The controller's counter: from 1, and from 1 again where it was reset."""
    if not run.reset_row:
        return rows + 1
    return np.where(rows < run.reset_row, rows, rows - run.reset_row) + 1


def _temperature(
    rng: np.random.Generator, run: RunPlan, true_us: Integers, since_start: Floats
) -> Floats:
    """
    Fluid temperature: a slow swing, a dip after a start, a rise from cold where it had cooled.

    Preheating brings the fluid to its temperature. Without it the cycles themselves warm it,
    and `cold_rows` is when it comes into the band.
    """
    hours = true_us / _HOUR_US
    steady = 45.0 + 1.6 * np.sin(hours * (2 * np.pi / 24)) + 0.7 * np.sin(hours * 1.9)
    warm: Floats = np.clip(
        steady - 2.5 * since_start + rng.normal(0, 0.15, run.row_count), 37.6, 52.4
    )
    if not run.cold_rows:
        return warm
    share = np.arange(run.row_count) / run.cold_rows
    if run.preheated:
        cold: Floats = 21.0 + (warm - 21.0) * (1 - np.exp(-4.0 * share)) / (1 - np.exp(-4.0))
        return np.where(share < 1.0, cold, warm)
    # From 21 towards some 45 degC; two thirds of the way is 37.
    warming: Floats = warm - (warm - 21.0) * np.exp(-np.log(3.0) * share)
    return np.where(share < 1.0, np.minimum(warming, 36.8), np.maximum(warming, 37.2))


def _peak(
    rng: np.random.Generator, place: tuple[str, int], short: Flags, true_us: Integers
) -> Integers:
    """Highest pressure in steps: inside the band, but for cycles that fall short."""
    hours = true_us / _HOUR_US
    phase = _drawn((place[0], 0), _OF_SUPPLY).uniform(0, 2 * np.pi)
    wander = 0.06 * np.sin(hours * (2 * np.pi / 11) + phase)
    wander += 0.04 * np.sin(hours * (2 * np.pi / 2.7) + 2 * phase)
    offset = float(_drawn(place, _OF_PEAK).normal(0, _PEAK_OFFSET_MPA))
    peak = SET_MPA + wander + offset + rng.normal(0, 0.18, short.size)
    peak = np.clip(peak, LOWER_MPA + 0.02, UPPER_MPA - 0.02)
    missing = rng.uniform(28.4, 31.3, short.size)
    return _steps(np.where(short, missing, peak))


def _decay(
    rng: np.random.Generator,
    planned: tuple[UnitPlan, RunPlan],
    counted: Integers,
    temperature: Floats,
    since_start: Floats,
) -> Floats:
    """Pressure decay over the dwell, MPa, before it is forced around the limit."""
    transient = rng.uniform(0.05, 0.10) * (1 if rng.random() < 0.5 else -1)
    unit, run = planned
    return np.asarray(
        BASE_DECAY_MPA
        + _station_decay(unit, run)
        + 0.002 * (temperature - 45.0)
        + transient * since_start
        + _growth(unit.leak, counted)
        + rng.normal(0, 0.012, counted.size)
    )


def _station_decay(unit: UnitPlan, run: RunPlan) -> float:
    """What a station adds to every decay: its own, and a step where a unit was moved to it."""
    first = unit.facts.station_no
    offset = float(_drawn((unit.facts.rig_id, first), _OF_DECAY).normal(0, 0.005))
    if run.station_no == first:
        return offset
    return offset + (STATION_STEP_MPA if unit.facts.unit_no % 2 else -STATION_STEP_MPA)


def _growth(leak: Leak, counted: Integers) -> Floats:
    """Decay that the leak adds; nothing while it has gone."""
    past_onset = np.maximum(0.0, counted - leak.onset_cycles)
    growth: Floats = leak.growth_mpa_per_cycle * past_onset
    if not leak.off_spells:
        return growth
    edges = np.array(leak.off_spells).ravel()
    has_gone = np.searchsorted(edges, counted, side="left") % 2 == 1
    return np.where(has_gone, 0.0, growth)


def _decay_steps(decay: Floats, counted: Integers, counts: Flags, unit: UnitPlan) -> Integers:
    """
    Decay in steps, so that the sustained run over the limit begins where the truth says.

    A decay of exactly the limit is avoided: whether it counts as over it must
    not hang on the last bit of a subtraction.
    """
    steps = _steps(decay)
    steps[steps == _LIMIT_STEPS] -= 1
    if unit.failed_at is None:
        return np.minimum(steps, _LIMIT_STEPS - 2)
    before = counts & (counted < unit.failed_at)
    kept_low = before & ((unit.failed_at - 1 - counted) % (OVER_LIMIT_CYCLES - 1) == 0)
    steps[kept_low] = np.minimum(steps[kept_low], _LIMIT_STEPS - 1)
    failing = counts & (counted >= unit.failed_at)
    steps[failing] = np.maximum(steps[failing], _LIMIT_STEPS + 2)
    return steps


def _drawn(place: tuple[str, int], kind: int) -> np.random.Generator:
    """Where the constants of a station, or of a rig's supply, come from: always the same."""
    rig = sum(ord(letter) for letter in place[0])
    return np.random.default_rng([rig, place[1], kind])


def _steps(pressure_mpa: Floats) -> Integers:
    return np.rint(pressure_mpa / RESOLUTION_MPA).astype(np.int64)


def _thousandths(
    rng: np.random.Generator,
    mean: float,
    spread: float,
    limits: tuple[float, float],
    row_count: int,
) -> Integers:
    values = np.clip(rng.normal(mean, spread, row_count), *limits)
    return np.rint(values * 1_000).astype(np.int64)
