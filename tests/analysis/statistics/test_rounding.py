import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.statistics.rounding import reaches, risk_limit, round_up


@given(st.integers(0, 10**9))
def test_a_whole_number_with_rounding_error_stays_itself(number: int) -> None:
    assert round_up(float(number)) == number
    assert round_up(math.nextafter(float(number), math.inf)) in (number, number + (number == 0))


@given(st.floats(0.001, 1e9))
def test_rounding_up_gives_the_first_whole_number_that_reaches(value: float) -> None:
    up = round_up(value)
    assert reaches(up, value) and not reaches(up - 1, value)


@pytest.mark.parametrize("short", [1e-11, 1e-6, 0.1])
def test_a_real_shortfall_does_not_reach(short: float) -> None:
    assert not reaches(44.89 * (1.0 - short), 44.89)


@given(st.floats(1e-6, 1 - 1e-9))
def test_the_risk_of_a_computed_confidence_stays_within_its_limit(risk: float) -> None:
    """A confidence is stored as 1 - risk: the risk must come back as small enough."""
    assert risk <= risk_limit(1.0 - risk) <= risk * (1.0 + 1e-9)
