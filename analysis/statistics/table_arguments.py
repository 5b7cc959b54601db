"""Arguments of tables: arrays of any shape whose every value is checked."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.checks import FloatArray
from analysis.errors import OutsideDomainError
from analysis.statistics.hypergeometric import MOST_UNITS

CountArray = NDArray[np.int64]
TableIndex = tuple[Any, ...]

_FEW_PLANES = 64  # Up to so many numbers of allowed failures are taken as slices, not picked.


def fractions_of_table(name: str, values: ArrayLike, *, up_to_one: bool = False) -> FloatArray:
    """
    Accept an array of fractions strictly between 0 and 1, of any shape.

    With `up_to_one` a fraction may also be 1: what is, unlike what is claimed, may be certain.

    Raises
    ------
    OutsideDomainError
        If `values` holds anything but such fractions.

    Examples
    --------
    >>> fractions_of_table("confidence", [[0.9], [0.95]]).shape
    (2, 1)
    """
    allowed = "numbers above 0, at most 1" if up_to_one else "numbers strictly between 0 and 1"
    array = _array_of(name, values, "f", allowed)
    wrong = ~((array > 0.0) & ((array <= 1.0) if up_to_one else (array < 1.0)))
    if wrong.any():
        raise OutsideDomainError(name, float(array[wrong][0]), allowed)
    return array.astype(np.float64)


def counts_of_table(name: str, values: ArrayLike, *, least: int) -> CountArray:
    """
    Accept an array of whole numbers of `least` or more, up to 2**53, of any shape.

    Raises
    ------
    OutsideDomainError
        If `values` holds anything but such numbers (floats and truth values are none).
    """
    allowed = f"whole numbers of {least} or more"
    array = _array_of(name, values, "iu", allowed)
    if array.size and array.min() < least:
        raise OutsideDomainError(name, int(array.min()), allowed)
    if array.size and array.max() > MOST_UNITS:
        raise OutsideDomainError(name, int(array.max()), f"whole numbers of at most {MOST_UNITS}")
    return array.astype(np.int64)


def planes_of_table(
    allowed: CountArray, shape: tuple[int, ...]
) -> Iterator[tuple[int, TableIndex]]:
    """
    Parts of a table whose cells allow the same number of failures.

    Parameters
    ----------
    allowed : ndarray of int
        Failures, in a shape that broadcasts to `shape`.
    shape : tuple of int
        Shape of the table, of one axis at least.

    Yields
    ------
    tuple of int and index
        The number of failures and the index of the part; every cell is in one part.

    Examples
    --------
    >>> for failures, part in planes_of_table(np.array([0, 1]), (3, 2)):
    ...     print(failures, np.ones((3, 2))[part].shape)
    0 (3, 1)
    1 (3, 1)
    """
    if allowed.size > _FEW_PLANES:
        full = np.broadcast_to(allowed, shape)
        for most in np.unique(allowed):
            yield int(most), np.nonzero(full == most)
        return
    on_all_axes = allowed.reshape((1,) * (len(shape) - allowed.ndim) + allowed.shape)
    for position in np.ndindex(on_all_axes.shape):
        # An axis of length 1 is one that the other arguments may spread along.
        lengths = zip(position, on_all_axes.shape, strict=True)
        plane = (slice(at, at + 1) if length > 1 else slice(None) for at, length in lengths)
        yield int(on_all_axes[position]), tuple(plane)


def _array_of(name: str, values: ArrayLike, kinds: str, allowed: str) -> NDArray[Any]:
    try:
        array = np.asarray(values)
    except (TypeError, ValueError):
        raise OutsideDomainError(name, "values of different kinds", allowed) from None
    if array.dtype.kind not in kinds:
        raise OutsideDomainError(name, f"an array of type {array.dtype}", allowed)
    return array


def shape_of_table(*arrays: NDArray[Any]) -> tuple[int, ...]:
    """
    Shape to which the arguments of a table broadcast.

    Raises
    ------
    OutsideDomainError
        If they do not broadcast against each other.
    """
    shapes = tuple(array.shape for array in arrays)
    try:
        return np.broadcast_shapes(*shapes)
    except ValueError:
        raise OutsideDomainError("the arguments", shapes, "arrays that broadcast") from None
