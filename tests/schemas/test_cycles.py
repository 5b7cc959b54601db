"""The vocabulary of the uploaded tables."""

from fractions import Fraction

import pytest

from schemas.cycles import (
    CYCLE_COLUMNS,
    LIFE_COLUMNS,
    MPA_PER_PSI,
    OPTIONAL_MASK,
    PRESSURE_DIVISORS,
    PRESSURE_UNITS,
)


def test_a_psi_follows_from_the_exact_pound_inch_and_standard_gravity() -> None:
    # International pound 0.45359237 kg and inch 0.0254 m (1959); standard gravity 9.80665 m/s2
    # (CGPM 1901): all exact by definition.
    force_n = Fraction("0.45359237") * Fraction("9.80665")
    pascal = force_n / Fraction("0.0254") ** 2
    assert float(pascal / 10**6) == MPA_PER_PSI


def test_every_unit_but_psi_divides_by_a_power_of_ten() -> None:
    # 1 MPa = 10 bar = 1000 kPa: SI prefixes and the bar of 100 kPa.
    assert PRESSURE_DIVISORS == {"mpa": 1.0, "bar": 10.0, "kpa": 1000.0}
    assert {*PRESSURE_DIVISORS, "psi"} == set(PRESSURE_UNITS)


def test_a_whole_band_edge_in_bar_is_the_same_number_in_mpa() -> None:
    # A multiplication by 0.1 would miss some of them: 0.1 is no binary fraction.
    edges = range(1, 1000)
    assert [edge / PRESSURE_DIVISORS["bar"] for edge in edges] == [
        float(Fraction(edge, 10)) for edge in edges
    ]


@pytest.mark.parametrize("columns", [CYCLE_COLUMNS, LIFE_COLUMNS])
def test_no_name_comes_twice_and_none_carries_a_pressure_unit(columns: tuple) -> None:
    names = [column.name for column in columns]
    assert len(set(names)) == len(names)
    assert not [name for name in names if name.endswith(tuple(f"_{u}" for u in PRESSURE_UNITS))]


def test_every_optional_column_has_a_bit_of_its_own() -> None:
    optional = [column.name for column in CYCLE_COLUMNS if not column.needed]
    assert list(OPTIONAL_MASK) == optional
    assert sum(OPTIONAL_MASK.values()).bit_count() == len(optional)
