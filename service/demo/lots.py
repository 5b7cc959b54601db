"""The lots of the scenario: seeds, true lives, interruptions and the right answer to each."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
from msgspec import structs

from service.demo.facts import (
    ClockJump,
    CounterReset,
    Law,
    LoggingOff,
    LotFacts,
    Reexport,
    Repeat,
    RightAnswer,
    RigSideLeak,
    SensorError,
    StationMove,
    Stop,
    StopPurpose,
    UnitFacts,
)
from service.demo.scenario import STATION_COUNT

DEMO_LOTS = ("L01", "L02", "L03", "L04", "L05", "L06", "L07", "L08")
"""Lots in the order of their dates: no station carries two units at once."""

_GOOD = Law(shape=2.2, scale_cycles=1_110_000)
_FAIR = Law(shape=2.2, scale_cycles=809_000)
_POOR = Law(shape=2.2, scale_cycles=198_000)
_USUAL_BATCH = "SB-12"
_WEAK_BATCH = "SB-17"
_TWO_RIGS = ("RIG-A", "RIG-B")


def lot(lot_number: str) -> LotFacts:
    """
    The facts of one lot.

    Raises
    ------
    KeyError
        If the scenario has no such lot.

    Examples
    --------
    >>> lot("L02").right_answer.kind
    'NOT_DEMONSTRATED'
    """
    return _LOTS[lot_number]


def drawn_lives(law: Law, *, seed: int, unit_count: int) -> list[int]:
    """
    Lives of a lot: a plain draw of its Weibull law, rounded up to whole cycles.

    Examples
    --------
    >>> drawn_lives(Law(shape=2.2, scale_cycles=198_000), seed=1, unit_count=2)
    [204447, 116006]
    """
    rng = np.random.default_rng(seed)
    return [int(life) for life in np.ceil(law.scale_cycles * rng.weibull(law.shape, unit_count))]


def repeated(facts: LotFacts, unit_count: int) -> LotFacts:
    """
    A lot of any size that repeats the units of `facts` over all stations of all rigs.

    It has no interruptions and none of the disturbed files: it is there to make
    large files of the same kind of rows.
    """
    stations = _stations(*STATION_COUNT)
    source = facts.units
    units = tuple(
        UnitFacts(
            unit_no=unit_no,
            unit_serial=f"{facts.lot_number}-{unit_no:05d}",
            component_batch=source[(unit_no - 1) % len(source)].component_batch,
            rig_id=stations[(unit_no - 1) % len(stations)][0],
            station_no=stations[(unit_no - 1) % len(stations)][1],
            life_cycles=source[(unit_no - 1) % len(source)].life_cycles,
            growth_mpa_per_1000=source[(unit_no - 1) % len(source)].growth_mpa_per_1000,
            comes_and_goes=source[(unit_no - 1) % len(source)].comes_and_goes,
        )
        for unit_no in range(1, unit_count + 1)
    )
    return LotFacts(
        lot_number=facts.lot_number,
        title=f"{facts.title}, repeated to {unit_count} units",
        spec_id=facts.spec_id,
        seed=facts.seed,
        law=facts.law,
        starts_at=facts.starts_at,
        units=units,
        right_answer=facts.right_answer,
    )


def _stations(*rig_ids: str) -> list[tuple[str, int]]:
    return [
        (rig_id, station_no)
        for rig_id in rig_ids
        for station_no in range(1, STATION_COUNT[rig_id] + 1)
    ]


def _units(
    lot_number: str,
    lives: Sequence[int],
    *,
    seed: int,
    stations: Sequence[tuple[str, int]] | None = None,
    batches: Sequence[str] | None = None,
) -> tuple[UnitFacts, ...]:
    """
    Units in the order of their stations, those of the two rigs if none are given.

    Growth of decay is between 0.02 and 1 MPa per 1,000 cycles; one leak in four comes and goes.
    """
    growth = np.exp(np.random.default_rng([seed, 7]).uniform(np.log(0.02), 0.0, len(lives)))
    goes = np.random.default_rng([seed, 8]).random(len(lives)) < 0.25
    return tuple(
        UnitFacts(
            unit_no=index + 1,
            unit_serial=f"{lot_number}-{index + 1:03d}",
            component_batch=batches[index] if batches else _USUAL_BATCH,
            rig_id=rig_id,
            station_no=station_no,
            life_cycles=lives[index],
            growth_mpa_per_1000=float(growth[index]),
            comes_and_goes=bool(goes[index]),
        )
        for index, (rig_id, station_no) in enumerate(stations or _stations(*_TWO_RIGS))
    )


def _usual_stops(*rig_ids: str, last_at_cycles: int = 160_000) -> tuple[Stop, ...]:
    """What happens to every lot: an opened guard, an end of shift, a cold night without power."""
    planned: tuple[tuple[int, int, StopPurpose, bool], ...] = (
        (13_000, 20, "GUARD", False),
        (62_000, 35, "SHIFT", False),
        (110_000, 190, "POWER", True),
        (160_000, 15, "HOT", False),
    )
    return tuple(
        Stop(rig_id=rig_id, at_cycles=at + 1_000 * number, minutes=long, purpose=why, cold=cold)
        for number, rig_id in enumerate(rig_ids)
        for at, long, why, cold in planned
        if at <= last_at_cycles
    )


def _many_stops(rig_id: str, *, shift_cycles: int) -> tuple[Stop, ...]:
    """Fifteen interruptions of one rig, about two between two inspections."""
    purposes: tuple[StopPurpose, ...] = ("GUARD", "SHIFT", "HOT", "GUARD", "POWER")
    at_cycles = (
        *(8_000, 17_000, 33_000, 42_000, 63_000, 68_000, 83_000, 92_000),
        *(110_000, 118_000, 133_000, 142_000, 158_000, 167_000, 187_000),
    )
    return tuple(
        Stop(
            rig_id=rig_id,
            at_cycles=at + shift_cycles,
            minutes=170 if number % 5 == 4 else 6 + 3 * (number % 4),
            purpose=purposes[number % 5],
            cold=number % 5 == 4,
        )
        for number, at in enumerate(at_cycles)
    )


def _good_lot() -> LotFacts:
    return LotFacts(
        lot_number="L01",
        title="a good lot, no failure",
        spec_id="CC25-Q1",
        seed=11,
        law=_GOOD,
        starts_at=datetime(2025, 1, 13, 6, 0, tzinfo=UTC),
        units=_units("L01", drawn_lives(_GOOD, seed=11, unit_count=12), seed=11),
        stops=_usual_stops(*_TWO_RIGS),
        right_answer=RightAnswer(verdict="ACCEPT", reliability_lower=0.953, open_holds=()),
    )


def _lot_with_one_failure() -> LotFacts:
    lives = drawn_lives(_FAIR, seed=2, unit_count=12)
    lives[8] = 163_619  # stated by the scenario; the others are as drawn
    return LotFacts(
        lot_number="L02",
        title="one piston seal decays at 163,619 cycles",
        spec_id="CC25-Q1",
        seed=2,
        law=_FAIR,
        starts_at=datetime(2025, 2, 10, 6, 0, tzinfo=UTC),
        units=_units("L02", lives, seed=2),
        stops=_usual_stops(*_TWO_RIGS),
        right_answer=RightAnswer(
            verdict="REJECT", kind="NOT_DEMONSTRATED", reliability_lower=0.920, open_holds=()
        ),
    )


def _poor_lot() -> LotFacts:
    # The lowest seed with 6 to 9 failures whose own fitted shape lies near the law's 2.2.
    return LotFacts(
        lot_number="L03",
        title="a poor lot, a plain draw of its law",
        spec_id="CC25-Q1",
        seed=1,
        law=_POOR,
        starts_at=datetime(2025, 3, 10, 6, 0, tzinfo=UTC),
        units=_units("L03", drawn_lives(_POOR, seed=1, unit_count=12), seed=1),
        stops=_usual_stops(*_TWO_RIGS),
        unheated_rigs=("RIG-B",),
        right_answer=RightAnswer(verdict="REJECT", kind="SHOWN_BELOW_REQUIREMENT", open_holds=()),
    )


def _lot_with_a_weak_batch() -> LotFacts:
    lives = drawn_lives(_GOOD, seed=4, unit_count=12)
    batches = [_USUAL_BATCH] * 12
    for index, life in {2: 53_877, 5: 14_700, 7: 60_982, 10: 33_365}.items():
        lives[index] = life
        batches[index] = _WEAK_BATCH
    return LotFacts(
        lot_number="L04",
        title="eight sound units, four with a weak seal batch",
        spec_id="CC25-Q1",
        seed=4,
        law=_GOOD,
        starts_at=datetime(2025, 4, 7, 6, 0, tzinfo=UTC),
        units=_units("L04", lives, seed=4, batches=batches),
        stops=_usual_stops(*_TWO_RIGS),
        # Which kind of refusal it is hangs on the third digit: not stated.
        right_answer=RightAnswer(verdict="REJECT", open_holds=()),
    )


def _lot_with_a_wrong_sensor() -> LotFacts:
    # Stations 5 and 6 of RIG-B were down: the last three units ran at its station 4 in turn.
    stations = [*_stations("RIG-A"), *_stations("RIG-B")[:4], ("RIG-B", 4), ("RIG-B", 4)]
    lives = drawn_lives(_GOOD, seed=5, unit_count=12)
    return LotFacts(
        lot_number="L05",
        title="a good lot, three units of which ran at a station that reads 6 % high",
        spec_id="CC25-Q1",
        seed=5,
        law=_GOOD,
        starts_at=datetime(2025, 5, 5, 6, 0, tzinfo=UTC),
        units=_units("L05", lives, seed=5, stations=stations),
        stops=_usual_stops(*_TWO_RIGS),
        # Each makes room for the next; the last one for the recalibration.
        taken_off=(10, 11, 12),
        sensor_errors=(
            SensorError(
                rig_id="RIG-B",
                station_no=4,
                gain=1.06,
                offset_mpa=0.0,
                from_at=datetime(2025, 5, 1, 12, 0, tzinfo=UTC),
                found_at=datetime(2025, 5, 30, 10, 0, tzinfo=UTC),
                reason="reads 6 % high at recalibration; in tolerance on 1 May",
            ),
        ),
        # As shown, all is well. In truth the three units were cycled below the band.
        right_answer=RightAnswer(
            verdict="HOLD", verdict_before="ACCEPT", open_holds=("CALIBRATION_FOUND_OUT",)
        ),
    )


def _disturbed_lot() -> LotFacts:
    return LotFacts(
        lot_number="L06",
        title="a good lot with every disturbance of a real log",
        spec_id="CC25-Q1",
        seed=10,
        law=_GOOD,
        starts_at=datetime(2025, 6, 2, 6, 0, tzinfo=UTC),
        units=_units("L06", drawn_lives(_GOOD, seed=10, unit_count=12), seed=10),
        stops=(
            *_many_stops("RIG-A", shift_cycles=0),
            *_many_stops("RIG-B", shift_cycles=400),
            Stop(rig_id="RIG-B", at_cycles=58_000, minutes=95, purpose="LOW"),
        ),
        unheated_rigs=("RIG-B",),
        clock_jumps=(ClockJump(rig_id="RIG-A", at_cycles=80_000, seconds=-160),),
        counter_resets=(
            CounterReset(unit_no=2, run_no=3),
            CounterReset(unit_no=5, run_no=9),
            CounterReset(unit_no=11, run_no=6),
        ),
        repeats=(Repeat(rig_id="RIG-B", part_no=2),),
        reexports=(Reexport(unit_no=3, run_no=4, first_row=60, row_count=160, changed_every=20),),
        right_answer=RightAnswer(
            verdict="ACCEPT", reliability_lower=0.953, open_holds=("CONFLICTING_ROWS",)
        ),
    )


def _lot_with_bracketed_lives() -> LotFacts:
    lives = drawn_lives(_GOOD, seed=21, unit_count=12)
    # By unit: life and growth. Rod seals that leak outside, two slow leaks that end in time,
    # one that has only begun. The others are as drawn.
    stated = {4: (171_300, 0.020), 6: (137_450, 0.0), 7: (88_200, 0.0), 10: (118_640, 0.030)}
    stated[12] = (214_500, 0.0225)
    units = list(_units("L07", lives, seed=21))
    for unit_no, (life, growth) in stated.items():
        units[unit_no - 1] = structs.replace(
            units[unit_no - 1],
            life_cycles=life,
            growth_mpa_per_1000=growth,
            mode="SEAL_DECAY" if growth else "ROD_SEAL_LEAK",
            comes_and_goes=unit_no == 10,
        )
    return LotFacts(
        lot_number="L07",
        title="two rod-seal leaks, slow leaks, 12,000 cycles of two units not logged",
        spec_id="CC25-Q1",
        seed=21,
        law=_GOOD,
        starts_at=datetime(2025, 7, 7, 6, 0, tzinfo=UTC),
        units=tuple(units),
        stops=_usual_stops(*_TWO_RIGS),
        logging_off=tuple(
            LoggingOff(unit_no=unit_no, at_cycles=130_000, cycles=12_000) for unit_no in (2, 9)
        ),
        # Unit 7 was found leaking at 100,000 cycles and has left station 1 of its rig.
        moves=(StationMove(unit_no=11, at_cycles=125_000, station_no=1),),
        rig_side_leaks=(RigSideLeak(unit_no=5, at_cycles=75_000),),
        unheated_rigs=("RIG-A",),
        right_answer=RightAnswer(
            verdict="REJECT",
            kind="NOT_DEMONSTRATED",
            reliability_lower=0.808,
            open_holds=("UNIT_OVERDUE",),
        ),
    )


def _lot_under_way() -> LotFacts:
    rig_ids = tuple(STATION_COUNT)
    lives = drawn_lives(_GOOD, seed=14, unit_count=20)
    return LotFacts(
        lot_number="L08",
        title="twenty units under way",
        spec_id="CC25-Q2",
        seed=14,
        law=_GOOD,
        starts_at=datetime(2025, 9, 1, 6, 0, tzinfo=UTC),
        units=_units("L08", lives, seed=14, stations=_stations(*rig_ids)),
        stops=_usual_stops(*rig_ids, last_at_cycles=110_000),
        unheated_rigs=("RIG-C",),
        reached_cycles=120_000,
        right_answer=RightAnswer(verdict="CONTINUE", open_holds=()),
    )


_LOTS = {
    facts.lot_number: facts
    for facts in (
        _good_lot(),
        _lot_with_one_failure(),
        _poor_lot(),
        _lot_with_a_weak_batch(),
        _lot_with_a_wrong_sensor(),
        _disturbed_lot(),
        _lot_with_bracketed_lives(),
        _lot_under_way(),
    )
}
