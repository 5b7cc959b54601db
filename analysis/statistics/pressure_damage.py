"""Cycles at one pressure that do the damage of cycles at others, by a power law."""

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from analysis.checks import FloatArray, check_not_negative, check_positive
from analysis.errors import OutsideDomainError
from schemas.acceleration import DamageSum, EquivalentCycles, EquivalentRange

_LOG_LARGEST = 709.0  # e**709 is close to the largest number a double holds.


def equivalent_cycles(
    cycles: float, *, test_pressure_mpa: float, use_pressure_mpa: float, exponent: float
) -> EquivalentCycles:
    """
    Cycles at the pressure of use that do the damage of cycles at the test pressure.

    Parameters
    ----------
    cycles : float, finite, >= 0
        Counted cycles at the test pressure.
    test_pressure_mpa, use_pressure_mpa : float, finite, > 0, keyword only
        Pressures by one measure. MPa; only their ratio matters.
    exponent : float, finite, >= 0, keyword only
        Power by which life falls with pressure, fitted. One that is assumed belongs in
        `equivalent_range`.

    Returns
    -------
    EquivalentCycles

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range, or the factor is no number a computer holds.

    Notes
    -----
    ``cycles * (test / use) ** exponent`` (inverse power law; W. Nelson, "Accelerated
    Testing", 1990, from memory).

    Examples
    --------
    >>> found = equivalent_cycles(
    ...     200_000, test_pressure_mpa=42.0, use_pressure_mpa=28.0, exponent=6
    ... )
    >>> found.acceleration_factor, found.equivalent_cycles
    (11.390625, 2278125.0)
    """
    count = check_not_negative("cycles", cycles)
    test = check_positive("test_pressure_mpa", test_pressure_mpa)
    use = check_positive("use_pressure_mpa", use_pressure_mpa)
    power = check_not_negative("exponent", exponent)
    factor = _factor(test / use, power)
    return EquivalentCycles(
        cycles=count,
        test_pressure_mpa=test,
        use_pressure_mpa=use,
        exponent=power,
        acceleration_factor=factor,
        equivalent_cycles=count * factor,
    )


def damage_sum(
    pressures_mpa: ArrayLike,
    *,
    counts: ArrayLike | None = None,
    use_pressure_mpa: float,
    exponent: float,
) -> DamageSum:
    """
    Cycles at the pressure of use that do the damage of cycles at many pressures.

    Parameters
    ----------
    pressures_mpa : array_like of float, shape (n,), finite, > 0
        Pressure of each cycle, or of each class of cycles. MPa.
    counts : array_like of float, shape (n,), finite, >= 0, optional, keyword only
        Cycles at each pressure; one each when left out.
    use_pressure_mpa : float, finite, > 0, keyword only
        Pressure of use, by the same measure. MPa.
    exponent : float, finite, >= 0, keyword only
        Power by which life falls with pressure, fitted. One that is assumed belongs in
        `equivalent_range`.

    Returns
    -------
    DamageSum

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range, lengths differ, or the sum is no number a
        computer holds.

    Notes
    -----
    ``sum(count * (pressure / use) ** exponent)``: damage adds up cycle by cycle, whatever
    the order (M. A. Miner 1945, from memory).

    Examples
    --------
    >>> damage_sum([30.0, 60.0], counts=[1_000, 10], use_pressure_mpa=30.0, exponent=5)
    ... # doctest: +ELLIPSIS
    DamageSum(use_pressure_mpa=30.0, exponent=5.0, cycle_count=1010.0, equivalent_cycles=1320.0,...
    """
    ratios, weights = _classes(pressures_mpa, counts, use_pressure_mpa)
    power = check_not_negative("exponent", exponent)
    return DamageSum(
        use_pressure_mpa=float(use_pressure_mpa),
        exponent=power,
        cycle_count=float(weights.sum()),
        equivalent_cycles=_damage(ratios, weights, power),
    )


def equivalent_range(
    pressures_mpa: ArrayLike,
    *,
    counts: ArrayLike | None = None,
    use_pressure_mpa: float,
    exponent_low: float,
    exponent_high: float,
) -> EquivalentRange:
    """
    Least and greatest equivalent cycles over a range of assumed exponents.

    Parameters
    ----------
    pressures_mpa : array_like of float, shape (n,), finite, > 0
        Pressure of each cycle, or of each class of cycles. MPa.
    counts : array_like of float, shape (n,), finite, >= 0, optional, keyword only
        Cycles at each pressure; one each when left out.
    use_pressure_mpa : float, finite, > 0, keyword only
        Pressure of use, by the same measure. MPa.
    exponent_low, exponent_high : float, finite, 0 <= low <= high, keyword only
        Exponents held possible.

    Returns
    -------
    EquivalentRange
        With the exponents at which the least and the greatest are reached.

    Raises
    ------
    OutsideDomainError
        As `damage_sum`, and if the exponents are in the wrong order.

    Notes
    -----
    The sum of `damage_sum` is convex in the exponent: the greatest stands at an end of the
    range, the least at an end or, with pressures on both sides of use, where the slope is
    0 (derived here).

    Examples
    --------
    >>> found = equivalent_range(
    ...     [42.0], counts=[200_000], use_pressure_mpa=28.0, exponent_low=4, exponent_high=8
    ... )
    >>> found.least, found.greatest
    (1012500.0, 5125781.25)
    """
    ratios, weights = _classes(pressures_mpa, counts, use_pressure_mpa)
    low = check_not_negative("exponent_low", exponent_low)
    high = check_not_negative("exponent_high", exponent_high)
    if low > high:
        raise OutsideDomainError("exponent_low", low, f"at most exponent_high, {high}")
    at_low, at_high = _damage(ratios, weights, low), _damage(ratios, weights, high)
    lowest = _lowest_exponent(ratios, weights, low, high)
    return EquivalentRange(
        use_pressure_mpa=float(use_pressure_mpa),
        exponent_low=low,
        exponent_high=high,
        cycle_count=float(weights.sum()),
        least=_damage(ratios, weights, lowest),
        least_at_exponent=lowest,
        greatest=max(at_low, at_high),
        greatest_at_exponent=high if at_high >= at_low else low,
    )


def _classes(
    pressures_mpa: ArrayLike, counts: ArrayLike | None, use_pressure_mpa: float
) -> tuple[FloatArray, FloatArray]:
    """Ratios to the pressure of use, and cycles at each."""
    use = check_positive("use_pressure_mpa", use_pressure_mpa)
    pressures = _list_of_numbers("pressures_mpa", pressures_mpa)
    wrong = ~((pressures > 0.0) & np.isfinite(pressures))
    if wrong.any():
        index = int(wrong.argmax())
        value = float(pressures[index])
        raise OutsideDomainError(f"pressures_mpa[{index}]", value, "a finite number above 0")
    if counts is None:
        return pressures / use, np.ones(pressures.size)
    weights = _list_of_numbers("counts", counts)
    if weights.size != pressures.size:
        described = f"{weights.size} values for {pressures.size} pressures"
        raise OutsideDomainError("counts", described, "one value per pressure")
    wrong = ~((weights >= 0.0) & np.isfinite(weights))
    if wrong.any():
        index = int(wrong.argmax())
        value = float(weights[index])
        raise OutsideDomainError(f"counts[{index}]", value, "a finite number of 0 or more")
    return pressures / use, weights


def _list_of_numbers(name: str, values: ArrayLike) -> FloatArray:
    """One-dimensional numbers; anything else is refused."""
    try:
        array = np.asarray(values)
    except (TypeError, ValueError):
        raise OutsideDomainError(name, "values of different kinds", "a list of numbers") from None
    if array.ndim != 1 or (array.size and array.dtype.kind not in "iuf"):
        described = f"an array of shape {array.shape} and type {array.dtype}"
        raise OutsideDomainError(name, described, "a list of numbers")
    return array.astype(np.float64)


def _factor(ratio: float, exponent: float) -> float:
    """``ratio ** exponent``, refused where it is beyond every number."""
    if exponent * math.log(ratio) > _LOG_LARGEST:
        allowed = "so small that a computer can hold the acceleration factor"
        raise OutsideDomainError("exponent", exponent, allowed)
    return float(ratio**exponent)


def _damage(ratios: FloatArray, weights: FloatArray, exponent: float) -> float:
    """Sum of counts times powers."""
    with np.errstate(over="ignore", invalid="ignore"):
        total = float(weights @ ratios**exponent)
    if not math.isfinite(total):
        allowed = "so small that a computer can hold the sum of damage"
        raise OutsideDomainError("exponent", exponent, allowed)
    return total


def _lowest_exponent(ratios: FloatArray, weights: FloatArray, low: float, high: float) -> float:
    """Exponent within the range at which the damage is least."""
    logs = np.log(ratios)

    def slope(exponent: float) -> float:
        return float((weights * logs) @ ratios**exponent)

    if slope(low) >= 0.0:
        return low
    if slope(high) <= 0.0:
        return high
    return float(brentq(slope, low, high, xtol=1e-12))
