import math
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from analysis.checks import (
    check_count,
    check_counts,
    check_flags,
    check_fraction,
    check_lives,
    check_not_negative,
    check_positive,
)
from analysis.errors import OutsideDomainError

NOT_NUMBERS = [math.nan, math.inf, -math.inf, None, "0.5", True, 0.5j, Decimal("0.5"), 10**400]


@pytest.mark.parametrize("check", [check_fraction, check_positive, check_not_negative])
@pytest.mark.parametrize("value", NOT_NUMBERS, ids=lambda value: str(value)[:12])
def test_what_is_no_finite_number_is_refused_by_name(
    check: Callable[[str, Any], float], value: object
) -> None:
    with pytest.raises(OutsideDomainError, match=r"^confidence must be a f"):
        check("confidence", value)


@pytest.mark.parametrize("value", [0.0, 1.0, 90, -0.1])
def test_a_percent_or_an_end_of_the_range_is_no_fraction(value: float) -> None:
    with pytest.raises(OutsideDomainError, match="reliability must be a fraction strictly between"):
        check_fraction("reliability", value)


def test_positive_excludes_zero_and_not_negative_includes_it() -> None:
    with pytest.raises(OutsideDomainError, match="shape must be a finite number above 0, got 0"):
        check_positive("shape", 0)
    assert check_not_negative("target_lives", 0) == 0.0
    with pytest.raises(OutsideDomainError, match="0 or more, got -1e-09"):
        check_not_negative("target_lives", -1e-9)


def test_numpy_scalars_are_numbers() -> None:
    assert check_fraction("confidence", np.float32(0.5)) == 0.5
    assert check_count("unit_count", np.int64(3), least=1) == 3


@pytest.mark.parametrize("value", [22.0, "22", None, True, np.True_, math.nan])
def test_a_count_must_be_a_whole_number(value: Any) -> None:
    with pytest.raises(OutsideDomainError, match="unit_count must be a whole number of 1 or more"):
        check_count("unit_count", value, least=1)


def test_a_count_outside_its_range_is_refused_with_the_range() -> None:
    with pytest.raises(OutsideDomainError, match="a whole number from 0 to 5, got 6"):
        check_count("failure_count", 6, least=0, most=5)
    with pytest.raises(OutsideDomainError, match="of 1 or more, got 0"):
        check_count("unit_count", 0, least=1)


def test_the_wrong_life_is_named_by_its_position() -> None:
    for wrong in (-1.0, math.nan, math.inf):
        with pytest.raises(OutsideDomainError, match=r"life_cycles\[2\] must be a finite"):
            check_lives("life_cycles", [1.0, 2.0, wrong])


@pytest.mark.parametrize(
    "values", [5.0, [[1.0]], ["1"], [None], [True], [1j], [[1], [1, 2]], {"a": 1}]
)
def test_lives_must_be_a_plain_list_of_numbers(values: Any) -> None:
    with pytest.raises(OutsideDomainError, match="life_cycles must be a list of numbers"):
        check_lives("life_cycles", values)


def test_lives_of_no_unit_and_of_an_unstarted_unit_are_accepted() -> None:
    assert check_lives("life_cycles", []).size == 0
    assert check_lives("life_cycles", [0, 5]).tolist() == [0.0, 5.0]


def test_the_callers_array_is_never_the_one_worked_on() -> None:
    mine = np.array([1.0, 2.0])
    check_lives("life_cycles", mine)[0] = 9.0
    assert mine[0] == 1.0


def test_a_status_code_is_no_flag() -> None:
    with pytest.raises(OutsideDomainError, match="failed must be a list of True and False"):
        check_flags("failed", [0, 1], length=2)
    with pytest.raises(OutsideDomainError, match="got '1 values for 2 units'"):
        check_flags("failed", [True], length=2)


def test_counts_must_be_whole_and_at_least_one() -> None:
    for wrong in ([1.0, 2.0], [True, True]):
        with pytest.raises(OutsideDomainError, match="counts must be a list of whole numbers"):
            check_counts("counts", wrong, length=2)
    with pytest.raises(OutsideDomainError, match=r"counts\[1\] must be a whole number, 1 or more"):
        check_counts("counts", [3, 0], length=2)
    with pytest.raises(OutsideDomainError, match="got '3 values for 2 lives'"):
        check_counts("counts", [1, 1, 1], length=2)
