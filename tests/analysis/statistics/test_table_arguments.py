"""What a table takes, and that its parts cover each cell once."""

import math
from typing import Any

import numpy as np
import pytest

from analysis.errors import OutsideDomainError
from analysis.statistics.table_arguments import (
    counts_of_table,
    fractions_of_table,
    planes_of_table,
    shape_of_table,
)


@pytest.mark.parametrize("values", [0.0, 1.0, [0.5, -0.1], math.nan, math.inf, 1, "0.9", [True]])
def test_what_is_no_fraction_is_refused(values: Any) -> None:
    with pytest.raises(OutsideDomainError, match="confidence must be numbers strictly between"):
        fractions_of_table("confidence", values)


@pytest.mark.parametrize("values", [-1, 1.0, [0, -3], True, "1", [None], 2**60])
def test_what_is_no_count_is_refused(values: Any) -> None:
    with pytest.raises(OutsideDomainError, match="allowed_failures must be whole numbers of"):
        counts_of_table("allowed_failures", values, least=0)


def test_values_of_any_shape_are_taken() -> None:
    assert fractions_of_table("reliability", np.float32(0.5)).dtype == np.float64
    assert counts_of_table("unit_count", [[1], [2]], least=1).shape == (2, 1)
    assert counts_of_table("unit_count", np.uint8(7), least=1).dtype == np.int64


def test_shapes_that_do_not_fit_are_refused() -> None:
    assert shape_of_table(np.ones((2, 1)), np.ones(3)) == (2, 3)
    with pytest.raises(OutsideDomainError, match="arrays that broadcast"):
        shape_of_table(np.ones(2), np.ones(3))


@pytest.mark.parametrize("allowed", [3, [0, 1], [[0], [1], [2]], np.arange(200).reshape(100, 2)])
def test_every_cell_is_in_the_part_of_its_number(allowed: Any) -> None:
    numbers = np.asarray(allowed)
    shape = np.broadcast_shapes(numbers.shape, (1, 2) if numbers.size > 3 else (3, 2))
    seen, visits = np.full(shape, -1), np.zeros(shape, dtype=int)
    for failures, part in planes_of_table(numbers, shape):
        seen[part] = failures
        visits[part] += 1
    assert (visits == 1).all()
    assert (seen == np.broadcast_to(numbers, shape)).all()
