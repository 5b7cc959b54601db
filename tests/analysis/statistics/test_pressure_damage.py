"""References: fractions for whole exponents, a fine grid for the range."""

import math
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.errors import OutsideDomainError
from analysis.statistics.pressure_damage import damage_sum, equivalent_cycles, equivalent_range

PRESSURE = st.integers(1, 60)
CLASSES = st.lists(st.tuples(PRESSURE, st.integers(0, 10**6)), min_size=1, max_size=20)


@given(st.integers(0, 10**9), PRESSURE, PRESSURE, st.integers(0, 12))
@settings(max_examples=40, deadline=None)
def test_equivalent_cycles_are_the_ratio_to_the_power(
    cycles: int, test: int, use: int, exponent: int
) -> None:
    found = equivalent_cycles(
        cycles, test_pressure_mpa=test, use_pressure_mpa=use, exponent=exponent
    )
    factor = Fraction(test, use) ** exponent
    assert found.acceleration_factor == pytest.approx(float(factor), rel=1e-13)
    assert found.equivalent_cycles == pytest.approx(float(cycles * factor), rel=1e-13)
    back = equivalent_cycles(
        found.equivalent_cycles, test_pressure_mpa=use, use_pressure_mpa=test, exponent=exponent
    )
    assert back.equivalent_cycles == pytest.approx(cycles, rel=1e-12)


@given(CLASSES, PRESSURE, st.integers(0, 10))
@settings(max_examples=40, deadline=None)
def test_damage_adds_up_class_by_class(classes: Any, use: int, exponent: int) -> None:
    found = damage_sum(
        [pressure for pressure, _ in classes],
        counts=[count for _, count in classes],
        use_pressure_mpa=use,
        exponent=exponent,
    )
    exact = sum(count * Fraction(pressure, use) ** exponent for pressure, count in classes)
    assert found.equivalent_cycles == pytest.approx(float(exact), rel=1e-12)
    assert found.cycle_count == sum(count for _, count in classes)


def test_cycles_one_by_one_and_by_class_are_the_same_damage() -> None:
    one_by_one = damage_sum([30.0, 30.0, 45.0], use_pressure_mpa=25.0, exponent=6.5)
    by_class = damage_sum([30.0, 45.0], counts=[2, 1], use_pressure_mpa=25.0, exponent=6.5)
    assert one_by_one.equivalent_cycles == pytest.approx(by_class.equivalent_cycles, rel=1e-14)


@given(CLASSES, PRESSURE, st.floats(0, 8), st.floats(0, 8))
@settings(max_examples=40, deadline=None)
def test_no_exponent_of_the_range_lies_outside_the_answer(
    classes: Any, use: int, one: float, other: float
) -> None:
    low, high = min(one, other), max(one, other)
    arguments: dict[str, Any] = {
        "counts": [count for _, count in classes],
        "use_pressure_mpa": use,
    }
    pressures = [pressure for pressure, _ in classes]
    found = equivalent_range(pressures, exponent_low=low, exponent_high=high, **arguments)
    grid = [
        damage_sum(pressures, exponent=float(each), **arguments).equivalent_cycles
        for each in np.linspace(low, high, 23)
    ]
    assert found.least <= min(grid) * (1 + 1e-12)
    assert found.greatest >= max(grid) * (1 - 1e-12)
    assert low <= found.least_at_exponent <= high
    assert found.greatest_at_exponent in (low, high)
    reached = damage_sum(pressures, exponent=found.least_at_exponent, **arguments)
    assert reached.equivalent_cycles == found.least


def test_the_least_may_lie_inside_the_range() -> None:
    # 2**n + 8 * 2**-n is least at 2**n = sqrt(8): n = 1.5, sum 2 sqrt(8).
    found = equivalent_range(
        [50.0, 12.5], counts=[1, 8], use_pressure_mpa=25.0, exponent_low=0, exponent_high=5
    )
    assert found.least_at_exponent == pytest.approx(1.5, abs=1e-9)
    assert found.least == pytest.approx(2 * math.sqrt(8), rel=1e-14)


def test_damage_rests_on_its_assumptions() -> None:
    found = equivalent_cycles(5, test_pressure_mpa=30, use_pressure_mpa=25, exponent=6)
    assert "LINEAR_DAMAGE" in found.assumptions and "NO_FATIGUE_LIMIT" in found.assumptions


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        (r"pressures_mpa\[1\]", {"pressures_mpa": [5.0, 0.0]}),
        (r"pressures_mpa\[0\]", {"pressures_mpa": [math.nan]}),
        ("pressures_mpa", {"pressures_mpa": [[5.0]]}),
        ("pressures_mpa", {"pressures_mpa": ["high"]}),
        ("pressures_mpa", {"pressures_mpa": [[5.0], [1.0, 2.0]]}),
        ("counts", {"counts": [1]}),
        (r"counts\[1\]", {"counts": [1, -1]}),
        ("use_pressure_mpa", {"use_pressure_mpa": 0}),
        ("exponent", {"exponent": -1}),
        ("exponent", {"exponent": 1e6}),
    ],
)
def test_what_is_no_damage_is_refused(name: str, arguments: dict[str, Any]) -> None:
    values: dict[str, Any] = {
        "pressures_mpa": [30.0, 40.0],
        "counts": None,
        "use_pressure_mpa": 25.0,
        "exponent": 6.0,
    } | arguments
    with pytest.raises(OutsideDomainError, match=name):
        damage_sum(values.pop("pressures_mpa"), **values)


def test_exponents_in_the_wrong_order_and_factors_beyond_numbers_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="exponent_low"):
        equivalent_range([30.0], use_pressure_mpa=25.0, exponent_low=5, exponent_high=4)
    with pytest.raises(OutsideDomainError, match="exponent"):
        equivalent_cycles(1, test_pressure_mpa=60, use_pressure_mpa=1, exponent=1e3)
    tiny = equivalent_cycles(1, test_pressure_mpa=1, use_pressure_mpa=60, exponent=1e3)
    assert tiny.acceleration_factor == 0.0
