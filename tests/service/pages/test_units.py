"""Numbers are rounded to the careful side and never change what a comparison says."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.pages import units

FRACTIONS = st.floats(min_value=1e-6, max_value=1 - 1e-6)


def plain(text: str) -> str:
    """The text with ordinary spaces."""
    return text.replace(units.NO_BREAK, " ")


@given(FRACTIONS)
def test_a_lower_limit_never_claims_more_than_was_shown(value: float) -> None:
    assert value - 0.001 <= float(units.lower_limit_text(value)) <= value


@given(FRACTIONS, FRACTIONS)
def test_an_upper_limit_keeps_its_side_of_the_requirement(value: float, required: float) -> None:
    shown = float(units.upper_limit_text(value, required=required))
    assert shown >= value
    assert (shown < required) == (value < required)


@given(st.floats(min_value=0, max_value=1e6), st.floats(min_value=0.01, max_value=1e6))
def test_two_sums_of_target_lives_show_which_is_larger(value: float, required: float) -> None:
    left, right = (float(text) for text in units.compared_text(value, required))
    assert (left < right) == (value < required)


@pytest.mark.parametrize(
    ("value", "shown"),
    # Closed form of a test without failures: R = (1 - C) ** (1 / sum of target lives).
    [(0.1 ** (1 / 48), "0.953"), (0.1 ** (1 / 45), "0.950"), (0.1 ** (1 / 44), "0.949")],
)
def test_a_demonstrated_reliability_reads_as_its_closed_form(value: float, shown: str) -> None:
    assert units.lower_limit_text(value) == shown


def test_a_quoted_figure_is_not_rounded() -> None:
    assert units.fraction_text(0.95) == "0.95"
    assert units.fraction_text(0.9999) == "0.9999"
    assert units.fraction_text(1e-7) == "0.0000001"
    assert plain(units.percent_text(0.9)) == "90 %"
    assert plain(units.percent_text(0.999)) == "99.9 %"
    assert units.rest_of_one(0.9) == 0.1
    assert plain(units.percent_text(units.rest_of_one(0.95))) == "5 %"


@pytest.mark.parametrize(
    ("pressure_mpa", "unit", "shown"),
    # 1 MPa = 10 bar; 1 psi = 6894.757 Pa (from the exact pound and inch).
    [
        (33.25, "mpa", "33.25 MPa"),
        (33.25, "bar", "332.5 bar"),
        (33.25, "psi", "4,823 psi"),
        (36.58, "psi", "5,305 psi"),
        (25.0, "psi", "3,626 psi"),
        (0.6, "psi", "87 psi"),
        (0.15, "psi", "22 psi"),
        (0.012, "mpa", "0.012 MPa"),
        (0.012, "psi", "1.7 psi"),
        (0.0, "bar", "0.0 bar"),
    ],
)
def test_a_pressure_reads_in_the_readers_unit(
    pressure_mpa: float, unit: units.PressureUnit, shown: str
) -> None:
    assert plain(units.pressure_text(pressure_mpa, unit)) == shown


@pytest.mark.parametrize("unit", units.PRESSURE_UNIT_LABELS)
def test_mpa_and_psi_stand_beside_any_unit(unit: units.PressureUnit) -> None:
    shown = units.pressure_both_text(33.25, unit)
    assert "MPa" in shown and "psi" in shown
    assert shown.startswith(units.pressure_text(33.25, unit))


def test_an_instant_reads_in_utc() -> None:
    instant = datetime(2026, 11, 25, 8, 5, tzinfo=timezone(timedelta(hours=1)))
    assert units.instant_text(instant) == "2026-11-25 07:05:00 UTC"
    assert units.instant_text(instant.astimezone(UTC)) == "2026-11-25 07:05:00 UTC"


def test_a_shape_keeps_a_decimal() -> None:
    assert [units.shape_text(value) for value in (2.0, 2.25, 0.8)] == ["2.0", "2.25", "0.8"]


def test_what_is_missing_is_rounded_up_and_what_is_there_down() -> None:
    assert units.missing_lives_text(31.2906) == "31.30"
    assert units.target_lives_text(13.609) == "13.60"
    assert units.target_lives_needed_text(44.89056748) == "44.89"


def test_a_count_takes_the_noun_of_its_number() -> None:
    nouns = [units.counted(count, "unit", "units") for count in (0, 1, 1200)]
    assert nouns == ["0 units", "1 unit", "1,200 units"]
