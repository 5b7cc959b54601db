"""One wording for each refusal of an argument; every method checks its own arguments here."""

import math
import operator
from numbers import Real
from typing import SupportsIndex, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import OutsideDomainError

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def check_fraction(name: str, value: float) -> float:
    """
    Accept a fraction strictly between 0 and 1, such as a reliability or a confidence.

    Raises
    ------
    OutsideDomainError
        If `value` is no number, is nan, or is not strictly between 0 and 1.

    Examples
    --------
    >>> check_fraction("confidence", 0.9)
    0.9
    """
    number = _real(value)
    if not 0.0 < number < 1.0:
        raise OutsideDomainError(name, value, "a fraction strictly between 0 and 1")
    return number


def check_positive(name: str, value: float) -> float:
    """
    Accept a finite number above 0, such as a Weibull shape or a target in cycles.

    Raises
    ------
    OutsideDomainError
        If `value` is no number, is nan or infinite, or is not above 0.
    """
    number = _real(value)
    if not 0.0 < number < math.inf:
        raise OutsideDomainError(name, value, "a finite number above 0")
    return number


def check_not_negative(name: str, value: float) -> float:
    """
    Accept a finite number of 0 or more, such as a sum of target lives.

    Raises
    ------
    OutsideDomainError
        If `value` is no number, is nan or infinite, or is below 0.
    """
    number = _real(value)
    if not 0.0 <= number < math.inf:
        raise OutsideDomainError(name, value, "a finite number of 0 or more")
    return number


def check_count(name: str, value: int, *, least: int, most: int | None = None) -> int:
    """
    Accept a whole number from `least` to `most` (no upper end without `most`).

    Raises
    ------
    OutsideDomainError
        If `value` is no whole number (a float or a bool is none) or outside the range.

    Examples
    --------
    >>> check_count("unit_count", 22, least=1)
    22
    """
    allowed = f"a whole number of {least} or more"
    if most is not None:
        allowed = f"a whole number from {least} to {most}"
    if isinstance(value, bool | np.bool_):
        raise OutsideDomainError(name, value, allowed)
    try:
        count = operator.index(cast(SupportsIndex, value))
    except TypeError:
        raise OutsideDomainError(name, value, allowed) from None
    if count < least or (most is not None and count > most):
        raise OutsideDomainError(name, value, allowed)
    return count


def check_lives(name: str, values: ArrayLike) -> FloatArray:
    """
    Accept the lives of a lot: cycles, one per unit, each finite and 0 or more.

    A unit that has not started has life 0. No unit at all is accepted too: a lot
    before its first unit is an ordinary state.

    Raises
    ------
    OutsideDomainError
        If `values` is not one-dimensional, holds anything but numbers, or holds a
        life that is nan, infinite or negative (its position is named).

    Examples
    --------
    >>> check_lives("life_cycles", [60_000, 42_000])
    array([60000., 42000.])
    """
    lives = _numbers(name, values, "iuf", "a list of numbers, one per unit").astype(np.float64)
    wrong = ~((lives >= 0.0) & (lives < np.inf))
    if wrong.any():
        index = int(wrong.argmax())
        raise OutsideDomainError(
            f"{name}[{index}]", float(lives[index]), "a finite number of cycles, 0 or more"
        )
    return lives


def check_flags(name: str, values: ArrayLike, *, length: int) -> BoolArray:
    """
    Accept one truth value per unit, such as whether it failed.

    Raises
    ------
    OutsideDomainError
        If there are not exactly `length` of them or one is neither True nor False
        (a status code 0 or 1 is refused: its polarity differs between programs).
    """
    allowed = "a list of True and False, one per unit"
    flags = _numbers(name, values, "b", allowed)
    if flags.size != length:
        raise OutsideDomainError(name, f"{flags.size} values for {length} units", allowed)
    return flags.astype(np.bool_)


def check_counts(name: str, values: ArrayLike, *, length: int) -> FloatArray:
    """
    Accept how many units share each life: one whole number of 1 or more per life.

    Raises
    ------
    OutsideDomainError
        If there are not exactly `length` of them or one is no whole number of 1 or more.
    """
    allowed = "a list of whole numbers of 1 or more, one per life"
    counts = _numbers(name, values, "iu", allowed)
    if counts.size != length:
        raise OutsideDomainError(name, f"{counts.size} values for {length} lives", allowed)
    if counts.size and counts.min() < 1:
        index = int(counts.argmin())
        raise OutsideDomainError(
            f"{name}[{index}]", int(counts[index]), "a whole number, 1 or more"
        )
    return counts.astype(np.float64)


def _real(value: object) -> float:
    """Give `value` as a float, nan when it is no real number, so that every range refuses it."""
    if isinstance(value, bool | np.bool_) or not isinstance(value, Real):
        return math.nan
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _numbers(name: str, values: ArrayLike, kinds: str, allowed: str) -> NDArray[np.generic]:
    """Give `values` as a one-dimensional array whose element kind is one of `kinds`."""
    try:
        array = np.asarray(values)
    except (TypeError, ValueError):
        raise OutsideDomainError(name, "values of different kinds", allowed) from None
    if array.ndim != 1 or (array.size and array.dtype.kind not in kinds):
        described = f"an array of shape {array.shape} and type {array.dtype}"
        raise OutsideDomainError(name, described, allowed)
    return array
