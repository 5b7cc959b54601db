"""
Units of the full row model, row by row, and their blocks as stage one would summarise them.

Written apart from the demo's generator. A lot is interrupted and inspected like the most
disturbed lot of the demo: per rig fifteen interruptions and one low-fluid stop, an inspection
every 25,000 counted cycles. Decay is 0.060 MPa + the station's own offset + noise 0.012 +
0.002 per degC from 45 + a restart excess of 0.05 to 0.10 of either sign that fades over some
240 cycles + growth after onset; readings come in steps of 0.004. The invented scenario states
these figures; what it leaves open (swings of temperature, how leaks come and go, steps of a
sensor's zero) is drawn here on the harsh side.
"""

from typing import Literal, NamedTuple

import numpy as np

from analysis.checks import BoolArray, FloatArray
from analysis.reduction.onset_blocks import OnsetRules, StretchBlocks

Kind = Literal["HEALTHY", "LEAKING", "EARLY"]
GROWTHS = (0.02, 0.035, 0.06, 0.1, 0.2, 0.45, 1.0)
PLANNED_CYCLES = 200_000
INSPECTED_EVERY = 25_000
BLOCK_CYCLES = 100
SENSOR_STEP_MPA = 0.004
STATION_STEP_MPA = 0.010
DECAY_LIMIT_MPA = 0.60
UNITS_PER_LOT = 12
FIRST_ONSET, LAST_ONSET = 24_000, 190_000
_CYCLES_PER_HOUR = 1_440
SCENARIO_RULES = OnsetRules(
    block_cycles=BLOCK_CYCLES,
    break_in_blocks=20,
    baseline_blocks=200,
    masked_cycles=300,
    dead_band_mpa=0.015,
    alarm_mpa=0.05,
    station_step_mpa=STATION_STEP_MPA,
    sensor_step_mpa=SENSOR_STEP_MPA,
)
"""What the demo's specification says at full length, and the two steps of the row model."""


class SimulatedUnit(NamedTuple):
    """
    A unit's blocks, and what is true of it: no onset is infinity.

    `showing_blocks` is how many blocks past the mask show the leak from end to end: with
    one or none there is nothing to find it by but the failure itself.
    """

    stretches: tuple[StretchBlocks, ...]
    showing_blocks: int
    onset_cycles: float
    growth_mpa_per_1000: float
    comes_and_goes: bool
    moved: bool
    run_count: int


class SimulatedRun(NamedTuple):
    """One run of a unit, row by row: what counts, decay in MPa and temperature in degC."""

    place: str
    start_hours: float
    counts: BoolArray
    decay_mpa: FloatArray
    temperature_c: FloatArray


class _Stop(NamedTuple):
    at_cycles: int
    hours: float
    cold: bool
    hot: bool


class _Rig(NamedTuple):
    """What all stations of a rig share: its stops and its swing of temperature."""

    stops: tuple[_Stop, ...]
    day_swing: float
    hour_swing: float
    phase: float
    warms_up: bool


class _Unit(NamedTuple):
    onset: float
    growth: float
    gates: FloatArray
    zero_steps: FloatArray
    zero_signs: FloatArray
    place_offsets: tuple[float, float]
    moves_from: float


def simulated_units(
    kind: Kind, count: int, *, seed: int, planned: int = PLANNED_CYCLES
) -> list[SimulatedUnit]:
    """`count` units in lots of twelve on two rigs; one seed gives the same units every time."""
    return [simulated_unit(kind, number, seed=seed, planned=planned)[0] for number in range(count)]


def simulated_unit(
    kind: Kind, number: int, *, seed: int, planned: int = PLANNED_CYCLES
) -> tuple[SimulatedUnit, list[SimulatedRun]]:
    """The unit of that number, and its rows run by run."""
    lot_no, place = divmod(number, UNITS_PER_LOT)
    rig = _rig(np.random.default_rng([seed, lot_no, place // 6, 1]), planned)
    rng = np.random.default_rng([seed, number, ("HEALTHY", "LEAKING", "EARLY").index(kind), 2])
    growth = GROWTHS[number % len(GROWTHS)] if kind != "HEALTHY" else 0.0
    return _run_unit(rng, rig, _unit(rng, kind, growth, planned), planned)


def _rig(rng: np.random.Generator, planned: int) -> _Rig:
    inspections = [_Stop(at, 0.35, False, False) for at in range(25_000, planned, INSPECTED_EVERY)]
    others = [
        _Stop(
            int(at),
            3.0 if number % 5 == 4 else float(rng.uniform(0.1, 1.6)),
            cold=number % 5 == 4,
            hot=number % 5 == 2,
        )
        for number, at in enumerate(rng.uniform(3_000, planned, round(16 * planned / 200_000)))
    ]
    return _Rig(
        stops=tuple(sorted(inspections + others)),
        day_swing=float(rng.uniform(1.0, 3.5)),
        hour_swing=float(rng.uniform(0.4, 1.2)),
        phase=float(rng.uniform(0, 2 * np.pi)),
        warms_up=bool(rng.random() < 0.5),
    )


def _unit(rng: np.random.Generator, kind: Kind, growth: float, planned: int) -> _Unit:
    onset = np.inf
    if kind != "HEALTHY":
        latest = min(LAST_ONSET, planned - 10_000)
        ends = (3_000, 18_000) if kind == "EARLY" else (FIRST_ONSET, latest)
        onset = float(rng.uniform(*ends))
    gates = np.array([onset, np.inf])
    if kind == "LEAKING" and rng.random() < 0.25:
        lengths = np.empty(400)
        lengths[::2] = 300 + rng.exponential(2_000, 200)
        lengths[1::2] = 200 + rng.exponential(1_500, 200)
        gates = onset + np.concatenate([[0.0], np.cumsum(lengths)])
    step_count = int(rng.poisson(1.0))
    first = float(rng.normal(0, 0.005))
    return _Unit(
        onset=onset,
        growth=growth / 1_000,
        gates=gates,
        zero_steps=rng.uniform(0, planned, step_count),
        zero_signs=rng.choice([-1.0, 1.0], step_count),
        place_offsets=(first, first + STATION_STEP_MPA * float(rng.choice([-1.0, 1.0]))),
        # Not before the first baseline is complete: till then no answer is possible anyway.
        moves_from=float(rng.uniform(FIRST_ONSET, planned)) if rng.random() < 0.2 else np.inf,
    )


def _run_unit(
    rng: np.random.Generator, rig: _Rig, unit: _Unit, planned: int
) -> tuple[SimulatedUnit, list[SimulatedRun]]:
    counted, hours = 0, float(rng.uniform(0, 24))
    stretches: list[StretchBlocks] = []
    runs: list[SimulatedRun] = []
    cold = True
    goals = [*rig.stops, _Stop(planned, 0.0, False, False)]
    for stop in goals:
        need = stop.at_cycles - counted
        if need < 80:
            continue
        second_place = counted >= unit.moves_from
        rows = _rows(rng, rig, (need, cold, stop.hot), hours)
        decay = _decay(rng, rows, unit, counted, second_place)
        keep, failed = _until_failure(decay, rows.counts)
        place = "second" if second_place else "first"
        stretches.append(_blocks(rows, decay, keep, counted, place))
        runs.append(
            SimulatedRun(place, hours, rows.counts[:keep], decay[:keep], rows.temperature[:keep])
        )
        counted += int(rows.counts[:keep].sum())
        hours += keep / _CYCLES_PER_HOUR + stop.hours
        cold = stop.cold
        if failed:
            break
    simulated = SimulatedUnit(
        stretches=tuple(stretches),
        showing_blocks=sum(_showing(stretch, unit.gates) for stretch in stretches),
        onset_cycles=unit.onset,
        growth_mpa_per_1000=unit.growth * 1_000,
        comes_and_goes=unit.gates.size > 2,
        moved=len({stretch.place for stretch in stretches}) > 1,
        run_count=len(stretches),
    )
    return simulated, runs


def _showing(stretch: StretchBlocks, gates: FloatArray) -> int:
    first = np.searchsorted(gates, stretch.first_counted, side="left")
    last = np.searchsorted(gates, stretch.last_counted, side="left")
    read = stretch.cycles_since_start > SCENARIO_RULES.masked_cycles
    return int(((first == last) & (first % 2 == 1) & read & (stretch.cycles >= 50)).sum())


class _Rows(NamedTuple):
    """One run: which rows count, temperature, and how much of the restart excess is left."""

    counts: BoolArray
    temperature: FloatArray
    excess: FloatArray


def _rows(rng: np.random.Generator, rig: _Rig, run: tuple[int, bool, bool], hours: float) -> _Rows:
    need, cold, hot = run
    warm_up = int(rng.integers(700, 1_401)) if cold else 0
    count = need + warm_up + round(need * 0.006) + 60
    rows = np.arange(count)
    at = hours + rows / _CYCLES_PER_HOUR
    steady = (
        45.0
        + rig.day_swing * np.sin(at * (2 * np.pi / 24) + rig.phase)
        + rig.hour_swing * np.sin(at * 1.9)
    )
    fading = np.exp(-3.0 * rows / rng.uniform(200, 280))
    temperature = steady - 2.5 * fading
    counts = np.ones(count, dtype=bool)
    if cold:
        # The fluid is back at its temperature after the warm-up, or only just inside the band.
        length = warm_up * (0.25 if rig.warms_up else 0.55)
        temperature -= (steady - 21.0) * np.exp(-rows / length)
        if rig.warms_up:
            counts[:warm_up] = False
    if hot:
        temperature += np.clip((rows - (count - 700)) / 700, 0, None) * (54.0 - temperature[-1])
    counts &= (temperature >= 37.0) & (temperature <= 53.0)
    counts &= ~_short_of_pressure(rng, count)
    end = np.searchsorted(np.cumsum(counts), need) + 1
    excess = rng.uniform(0.05, 0.10) * rng.choice([-1.0, 1.0]) * fading
    return _Rows(counts[:end], temperature[:end], excess[:end])


def _short_of_pressure(rng: np.random.Generator, count: int) -> BoolArray:
    short = np.zeros(count, dtype=bool)
    budget, place = round(0.006 * count), 5
    while budget > 0 and place < count - 100:
        length = min(budget, int(rng.uniform(8, 60)))
        place += int(rng.exponential(250))
        short[place : place + length] = True
        budget -= length
        place += length + 5
    return short


def _decay(
    rng: np.random.Generator, rows: _Rows, unit: _Unit, before: int, second_place: bool
) -> FloatArray:
    counted = before + np.cumsum(rows.counts)
    decay = 0.060 + unit.place_offsets[second_place] + 0.002 * (rows.temperature - 45.0)
    decay += rows.excess
    decay += 0.012 * rng.standard_normal(counted.size, dtype=np.float32)
    for at, sign in zip(unit.zero_steps, unit.zero_signs, strict=True):
        decay += SENSOR_STEP_MPA * sign * (counted > at)
    if counted[-1] > unit.onset:
        is_on = np.searchsorted(unit.gates, counted, side="left") % 2 == 1
        decay += np.where(is_on, unit.growth * (counted - unit.onset), 0.0)
    return np.rint(decay / SENSOR_STEP_MPA) * SENSOR_STEP_MPA


def _until_failure(decay: FloatArray, counts: BoolArray) -> tuple[int, bool]:
    """Rows until the fifth of five counted cycles in a row over the limit, and whether so."""
    if decay.max() <= DECAY_LIMIT_MPA:
        return decay.size, False
    places = np.flatnonzero(counts)
    over = decay[places] > DECAY_LIMIT_MPA
    five = np.flatnonzero(np.convolve(over, np.ones(5), "valid") > 4.5)
    return (int(places[five[0] + 4]) + 1, True) if five.size else (decay.size, False)


def _blocks(rows: _Rows, decay: FloatArray, keep: int, before: int, place: str) -> StretchBlocks:
    at = np.flatnonzero(rows.counts[:keep])
    whole = at.size // BLOCK_CYCLES
    firsts = np.arange(0, at.size, BLOCK_CYCLES)
    lasts = np.minimum(firsts + BLOCK_CYCLES, at.size)
    cut = whole * BLOCK_CYCLES
    medians = np.median(decay[at[:cut]].reshape(whole, BLOCK_CYCLES), axis=1)
    degrees = rows.temperature[at[:cut]].reshape(whole, BLOCK_CYCLES).mean(axis=1)
    if cut < at.size:
        medians = np.append(medians, np.median(decay[at[cut:]]))
        degrees = np.append(degrees, rows.temperature[at[cut:]].mean())
    return StretchBlocks(
        place=place,
        first_counted=before + firsts + 1,
        last_counted=before + lasts,
        cycles=lasts - firsts,
        cycles_since_start=at[firsts] + 1 if at.size else at,
        decay_mpa=medians,
        temperature_c=degrees,
    )
