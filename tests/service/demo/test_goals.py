"""A unit is stopped at its inspections, at its failure, or at the inspection that finds it."""

import pytest
from msgspec import structs

from service.demo.facts import UnitFacts
from service.demo.goals import goals_of

UNIT = UnitFacts(
    unit_no=3,
    unit_serial="L99-003",
    component_batch="SB-12",
    rig_id="RIG-A",
    station_no=3,
    life_cycles=900_000,
    growth_mpa_per_1000=0.02,
)
REGULAR = tuple(range(25_000, 200_001, 25_000))


def test_a_unit_that_outlives_the_test_is_inspected_every_25_000_cycles() -> None:
    goals = goals_of(UNIT, reached_cycles=None, scale=1.0)
    assert (goals.counts, goals.failed_at, goals.found_between) == (REGULAR, None, None)


def test_a_test_under_way_was_inspected_where_it_has_come_to() -> None:
    goals = goals_of(UNIT, reached_cycles=120_000, scale=0.05)
    assert goals.counts == (1_250, 2_500, 3_750, 5_000, 6_000)
    assert goals.reached == 6_000


def test_a_rig_trips_on_the_fifth_cycle_of_the_sustained_decay() -> None:
    decays = structs.replace(UNIT, life_cycles=60_000)
    goals = goals_of(decays, reached_cycles=None, scale=1.0)
    assert goals.failed_at == 60_000
    assert goals.counts == (25_000, 50_000, 60_004)


@pytest.mark.parametrize(
    ("leaks_from", "between"),
    [
        (10_000, (0, 25_000)),
        (88_200, (75_000, 100_000)),
        (100_000, (75_000, 100_000)),
        (100_001, (100_000, 125_000)),
    ],
)
def test_a_leak_outside_is_found_at_the_first_inspection_from_its_beginning_on(
    leaks_from: int, between: tuple[int, int]
) -> None:
    leaks = structs.replace(UNIT, life_cycles=leaks_from, mode="ROD_SEAL_LEAK")
    goals = goals_of(leaks, reached_cycles=None, scale=1.0)
    assert (goals.failed_at, goals.found_between) == (None, between)
    assert goals.counts[-1] == between[1]
