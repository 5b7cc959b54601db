"""The lots are what the scenario says of them, and L03 is an honest draw of its law."""

import math

import numpy as np
import pytest
from scipy import optimize

from service.demo.facts import Law
from service.demo.lots import DEMO_LOTS, drawn_lives, lot, repeated

# One-sided 90 % points of chi-square on 2 and 4 degrees of freedom, as printed tables give them.
CHI2_90_ON_2, CHI2_90_ON_4 = 4.605, 7.779
CHI2_10_ON_2 = 0.2107
CHI2_90_ON_10, CHI2_10_ON_8 = 15.987, 3.490
# 90 % point on one degree of freedom: likelihood-ratio interval for one parameter.
CHI2_90_ON_1 = 2.706


def test_seeds_give_the_same_lives_every_time() -> None:
    law = Law(shape=2.2, scale_cycles=198_000)
    first = drawn_lives(law, seed=1, unit_count=12)
    assert drawn_lives(law, seed=1, unit_count=12) == first
    assert drawn_lives(law, seed=2, unit_count=12) != first


def test_the_poor_lot_is_the_plain_draw_of_its_published_seed() -> None:
    facts = lot("L03")
    lives = [unit.life_cycles for unit in facts.units]
    rng = np.random.default_rng(facts.seed)
    assert lives == [math.ceil(198_000 * draw) for draw in rng.weibull(2.2, 12)]


def test_the_poor_lots_own_fit_is_compatible_with_shape_2_2() -> None:
    lives = np.array([unit.life_cycles for unit in lot("L03").units]) / 100_000
    failed, cycles = lives <= 2.0, np.minimum(lives, 2.0)
    assert 6 <= failed.sum() <= 9

    def log_likelihood(shape: float) -> float:
        # The scale that is best for a given shape, put into the censored likelihood.
        scale = ((cycles**shape).sum() / failed.sum()) ** (1 / shape)
        hazard = np.log(shape / scale) + (shape - 1) * np.log(cycles[failed] / scale)
        return float(hazard.sum() - ((cycles / scale) ** shape).sum())

    best = optimize.minimize_scalar(
        lambda shape: -log_likelihood(shape), bounds=(0.3, 10), method="bounded"
    )
    assert 2 * (-best.fun - log_likelihood(2.2)) < CHI2_90_ON_1
    assert 1.6 < best.x < 3.0


def test_the_poor_lot_is_shown_below_its_requirement_at_every_shape_of_the_range() -> None:
    cycles = [min(unit.life_cycles, 200_000) / 100_000 for unit in lot("L03").units]
    failure_count = sum(unit.life_cycles <= 200_000 for unit in lot("L03").units)
    # Lower 10 % point on 2 r degrees of freedom, Wilson-Hilferty approximation.
    degrees = 2 * failure_count
    low_point = degrees * (1 - 2 / (9 * degrees) - 1.2816 * math.sqrt(2 / (9 * degrees))) ** 3
    for shape in np.linspace(2.0, 2.6, 13):
        target_lives = sum(cycle**shape for cycle in cycles)
        assert math.exp(-low_point / 2 / target_lives) < 0.95


def test_stated_limits_follow_from_the_lives() -> None:
    # All survivors: 12 x 2^2 = 48 target lives. One failure at 163 619: 11 x 4 + 1.63619^2.
    assert lot("L01").right_answer.reliability_lower == pytest.approx(
        math.exp(-CHI2_90_ON_2 / 2 / 48), abs=5e-4
    )
    target_lives = 11 * 4 + 1.63619**2
    assert lot("L02").right_answer.reliability_lower == pytest.approx(
        math.exp(-CHI2_90_ON_4 / 2 / target_lives), abs=5e-4
    )
    assert math.exp(-CHI2_10_ON_2 / 2 / target_lives) > 0.95


def test_limits_of_the_lots_with_bracketed_lives_and_with_voided_units_follow_too() -> None:
    # L07: two failures at known counts, two leaks credited at the last clean inspection, two
    # survivors with 12,000 cycles not logged, six survivors.
    at = [1.71300, 1.18640, 1.25, 0.75, 1.88, 1.88, *[2.0] * 6]
    target_lives = sum(each**2 for each in at)
    assert lot("L07").right_answer.reliability_lower == pytest.approx(
        math.exp(-CHI2_90_ON_10 / 2 / target_lives), abs=5e-4
    )
    # The kind: were every bracket credited at its end and the shape 2.6, still above 0.95.
    most = sum(each**2.6 for each in [1.71300, 1.18640, 1.5, 1.0, 1.88, 1.88, *[2.0] * 6])
    assert math.exp(-CHI2_10_ON_8 / 2 / most) > 0.95
    # L05: nine units are left, 9 x 2^2 target lives; the scenario says 0.938.
    assert math.exp(-CHI2_90_ON_2 / 2 / 36) == pytest.approx(0.938, abs=5e-4)


@pytest.mark.parametrize("number", DEMO_LOTS)
def test_units_have_their_own_serial_and_station(number: str) -> None:
    units = lot(number).units
    assert len({unit.unit_serial for unit in units}) == len(units)
    # Two stations were down while L05 ran: three of its units share one.
    shared = 2 if number == "L05" else 0
    assert len({(unit.rig_id, unit.station_no) for unit in units}) == len(units) - shared
    assert [unit.unit_no for unit in units] == list(range(1, len(units) + 1))
    decaying = [unit.growth_mpa_per_1000 for unit in units if unit.mode == "SEAL_DECAY"]
    assert all(0.02 <= growth <= 1.0 for growth in decaying)


def test_the_disturbed_lot_has_thirty_interruptions_and_one_low_fluid_stop() -> None:
    facts = lot("L06")
    low = [stop for stop in facts.stops if stop.purpose == "LOW"]
    assert (len(facts.stops) - len(low), len(low)) == (30, 1)
    assert len(facts.counter_resets) == 3
    assert (len(facts.repeats), len(facts.reexports), len(facts.clock_jumps)) == (1, 1, 1)


def test_a_repeated_lot_fills_all_stations_one_unit_after_another() -> None:
    units = repeated(lot("L03"), 50).units
    places = [(unit.rig_id, unit.station_no) for unit in units]
    assert len(set(places)) == 20
    assert max(places.count(place) for place in places) == 3
    assert units[12].life_cycles == units[0].life_cycles
