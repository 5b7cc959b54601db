"""The watch over stations: on hours written by hand, and on simulated supplies."""

from datetime import UTC, timedelta

import numpy as np
import pytest
from drift_simulation import CYCLES_IN_HOUR, means, ran, stations_of_a_supply
from msgspec import UNSET
from reduction_builders import FIRST_START, RIG, evidence, rig, spec

from analysis.reduction.lives import reduce_unit
from analysis.reduction.station_drift import (
    BEGINNING_HOURS,
    WINDOW_HOURS,
    drifts_met_by,
    drifts_together,
    station_drifts,
)
from schemas.stretches import StretchSummary

LIMIT_MPA = 0.25
HOURS_OF_A_LIFE = 70
"""100,000 cycles at 1,440 an hour."""
TWO_PERCENT_AN_HOUR = 0.02 * 33.25 / (100_000 / CYCLES_IN_HOUR)


def level(station: int, *peaks: float, **others: float) -> StretchSummary:
    """A station that ran one hour for each of these peaks."""
    return ran(station, [means(hour, peak, **others) for hour, peak in enumerate(peaks)])


def steps(*parts: tuple[int, float]) -> list[float]:
    """So many hours at a peak, one part after another."""
    return [peak for count, peak in parts for _ in range(count)]


def test_a_station_that_moves_alone_is_found_with_its_hours_and_cycles() -> None:
    moved = steps((12, 33.2), (12, 33.6))
    stations = [level(1, *moved), *(level(n, *steps((24, 33.0 + n / 100))) for n in (2, 3, 4))]
    (found,) = station_drifts(stations, {}, LIMIT_MPA)
    assert (found.rig_id, found.station_no, found.quantity) == (RIG, 1, "pressure_peak_mpa")
    assert found.drift_mpa == pytest.approx(0.4)
    assert found.neighbours == [2, 3, 4]
    start = FIRST_START.replace(tzinfo=UTC)
    assert found.began_at == start
    # Hours 12 to 23 read high. The median over six hours is beyond 0.25 when four of the six
    # are (three give the mean of 0 and 0.4): from hour 15 on.
    assert (found.from_at, found.to_at) == (
        start + timedelta(hours=15),
        start + timedelta(hours=24),
    )
    assert found.counted_cycles == 9 * CYCLES_IN_HOUR


def test_what_all_stations_do_together_is_no_drift() -> None:
    together = steps((12, 33.0), (12, 34.0))
    stations = [level(n, *(peak + n / 10 for peak in together)) for n in (1, 2, 3)]
    assert station_drifts(stations, {}, 0.01) == []


def test_a_neighbours_drift_is_not_laid_on_a_sound_station() -> None:
    # Of two neighbours one moved: which of them is right nobody can say of the sound one alone.
    moved, sound = steps((12, 33.2), (12, 34.2)), steps((24, 33.2))
    found = station_drifts([level(1, *moved), level(2, *sound), level(3, *sound)], {}, LIMIT_MPA)
    assert [each.station_no for each in found] == [1]


def test_two_neighbours_that_part_leave_the_sound_station_between_them() -> None:
    up, down = steps((12, 33.2), (12, 33.8)), steps((12, 33.2), (12, 32.6))
    found = station_drifts(
        [level(1, *steps((24, 33.2))), level(2, *up), level(3, *down)], {}, LIMIT_MPA
    )
    assert [each.station_no for each in found] == [2, 3]


def test_with_one_neighbour_nothing_is_said() -> None:
    moved = steps((12, 33.2), (12, 34.2))
    assert station_drifts([level(1, *moved), level(2, *steps((24, 33.2)))], {}, LIMIT_MPA) == []


def test_stations_of_another_supply_are_no_neighbours() -> None:
    moved, sound = steps((12, 33.2), (12, 34.2)), steps((24, 33.2))
    stations = [level(1, *moved), level(2, *sound), level(3, *sound)]
    apart = rig(supplies=[{"station_no": 3, "supply_id": "S-2"}])
    assert station_drifts(stations, {RIG: apart}, LIMIT_MPA) == []


def test_a_neighbour_that_comes_later_has_a_beginning_of_its_own() -> None:
    # Station 4 reads 1 MPa more than the others from its first hour: an offset, not a drift.
    sound = steps((24, 33.2))
    late = ran(4, [means(hour, 34.2) for hour in range(12, 24)])
    assert station_drifts([*(level(n, *sound) for n in (1, 2, 3)), late], {}, LIMIT_MPA) == []


def test_fewer_hours_than_a_beginning_and_a_window_say_nothing() -> None:
    hours = BEGINNING_HOURS + WINDOW_HOURS // 2
    moved = steps((BEGINNING_HOURS, 33.2), (WINDOW_HOURS // 2, 34.2))
    sound = steps((hours, 33.2))
    assert station_drifts([level(1, *moved), level(2, *sound), level(3, *sound)], {}, 0.6) == []


def test_hours_with_few_counted_cycles_are_not_used() -> None:
    moved = ran(1, [means(h, 33.2 + (h >= 12), counted_cycles=99) for h in range(24)])
    sound = [level(n, *steps((24, 33.2))) for n in (2, 3, 4)]
    assert station_drifts([moved, *sound], {}, LIMIT_MPA) == []


def test_without_a_limit_stations_are_not_watched() -> None:
    assert station_drifts([level(1, 33.2)], {}, None) == []


def test_a_loop_that_regulates_on_its_own_drifting_zero_shows_in_the_trough() -> None:
    # The loop keeps the peak on target; at the trough the pressure is that of the tank.
    troughs = steps((12, 0.08), (12, 0.38))
    moved = ran(1, [means(h, 33.2, pressure_low_mpa=low) for h, low in enumerate(troughs)])
    sound = [level(n, *steps((24, 33.2)), pressure_low_mpa=0.08) for n in (2, 3)]
    (found,) = station_drifts([moved, *sound], {}, LIMIT_MPA)
    assert (found.quantity, found.drift_mpa) == ("pressure_low_mpa", pytest.approx(0.3))


def test_decay_and_rise_time_stand_beside_a_finding() -> None:
    moved = ran(
        1,
        [means(h, 33.2 + (h >= 12), pressure_decay_mpa=0.06 + 0.02 * (h >= 12)) for h in range(24)],
    )
    sound = [level(n, *steps((24, 33.2)), pressure_decay_mpa=0.06) for n in (2, 3)]
    (found,) = station_drifts([moved, *sound], {}, LIMIT_MPA)
    assert found.decay_change_mpa == pytest.approx(0.02)
    assert found.rise_time_change_s is UNSET


def test_two_stretches_in_one_hour_are_one_hour_of_the_station() -> None:
    half = {"counted_cycles": CYCLES_IN_HOUR // 2}
    peaks = steps((12, 33.2), (12, 33.6))
    first = ran(1, [means(h, peak - 0.1, **half) for h, peak in enumerate(peaks)])
    second = ran(1, [means(h, peak + 0.1, **half) for h, peak in enumerate(peaks)], key=9)
    sound = [level(n, *steps((24, 33.0))) for n in (2, 3)]
    (found,) = station_drifts([first, second, *sound], {}, LIMIT_MPA)
    assert found.drift_mpa == pytest.approx(0.4)
    assert found.counted_cycles == 9 * CYCLES_IN_HOUR


# Units and lots -------------------------------------------------------------------------------


def test_a_unit_meets_a_drift_only_while_it_is_on_the_station() -> None:
    moved = steps((12, 33.2), (12, 33.6))
    before = ran(1, [means(h, moved[h]) for h in range(14)])
    after = ran(1, [means(h, moved[h]) for h in range(14, 24)], key=9)
    sound = [level(n, *steps((24, 33.2))) for n in (2, 3)]
    drifts = station_drifts([before, after, *sound], {}, LIMIT_MPA)
    assert drifts_met_by([before], drifts) == []
    (met,) = drifts_met_by([after], drifts)
    assert met.counted_cycles == 9 * CYCLES_IN_HOUR
    assert drifts_together([met, met])[0].counted_cycles == 18 * CYCLES_IN_HOUR


def test_a_drift_marks_a_life_and_changes_nothing_of_it() -> None:
    moved = steps((12, 33.2), (12, 33.6))
    stations = [level(1, *moved), *(level(n, *steps((24, 33.2))) for n in (2, 3))]
    drifts = station_drifts(stations, {}, LIMIT_MPA)
    marked = reduce_unit(evidence(stations[0], station_drifts=drifts), spec())
    plain = reduce_unit(evidence(stations[0]), spec())
    assert "STATION_DRIFT" in marked.marks
    assert (marked.outcome, marked.holds) == (plain.outcome, plain.holds)


# Simulated supplies ---------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_two_percent_over_a_hundred_thousand_cycles_is_flagged_before_the_end(seed: int) -> None:
    stations = stations_of_a_supply(
        np.random.default_rng(seed),
        station_count=6,
        hours=HOURS_OF_A_LIFE,
        drift_mpa_per_hour={4: TWO_PERCENT_AN_HOUR},
        own_wander_mpa=0.02,
    )
    (found,) = station_drifts(stations, {}, LIMIT_MPA)
    assert (found.station_no, found.drift_mpa > 0) == (4, True)
    until = (found.from_at - found.began_at) / timedelta(hours=1) * CYCLES_IN_HOUR
    assert until < 60_000


@pytest.mark.parametrize("seed", range(100, 110))
def test_no_healthy_station_is_flagged(seed: int) -> None:
    stations = stations_of_a_supply(
        np.random.default_rng(seed), station_count=6, hours=HOURS_OF_A_LIFE, own_wander_mpa=0.02
    )
    assert station_drifts(stations, {}, LIMIT_MPA) == []
