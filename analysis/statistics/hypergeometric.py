"""Chances of a count in a sample drawn without putting back: the hypergeometric distribution.

A lot of N units holds K nonconforming ones; n units are drawn from it. The chance of finding
k of the K among them is ``C(K, k) C(N - K, n - k) / C(N, n)``.
"""

import math

import numpy as np

MOST_UNITS = 2**53
"""Largest lot that is counted: above it a double no longer tells one unit from the next."""

_NEGLIGIBLE = 1e-18  # A share of the sum that no longer changes its last digit.
_SINGLE_STEPS = 48  # So many terms are added one by one before arrays pay.
_FIRST_BLOCK = 256
_LARGEST_BLOCK = 65_536
_SMALL = 16  # Below it Stirling's series of five terms has not settled.


def hypergeometric_tails(
    count: int, *, lot_size: int, nonconforming: int, unit_count: int
) -> tuple[float, float]:
    """
    Chance of at most a number of nonconforming units in a sample, and of more.

    Parameters
    ----------
    count : int
        Number of nonconforming units found. Any whole number.
    lot_size : int, >= 1, keyword only
        Units in the lot before sampling.
    nonconforming : int, 0 to lot_size, keyword only
        Nonconforming units in the lot before sampling.
    unit_count : int, 0 to lot_size, keyword only
        Units drawn from the lot, none put back.

    Returns
    -------
    tuple of float
        P(X <= count) and P(X > count). Each has a small *relative* error, however small
        it is; they add up to 1. The arguments are not checked.

    Notes
    -----
    One chance is worked out, the others follow from the ratio of neighbours, summed away
    from the middle of the distribution, where the terms fall. The one chance comes from
    Stirling's formula with its remainder: for the four cells x of the table (found or not,
    nonconforming or not) with expected values e and the four sums of its rows and columns,
    ``ln P = sum d(row or column) - d(N) - sum d(x) - sum (x ln(x / e) - x + e)`` with
    ``d(x) = ln x! - x ln x + x``. No large numbers are subtracted from each other, which
    log-gamma would do: the error stays near 1e-14 for lots of millions of units.

    References
    ----------
    .. [1] C. Loader, "Fast and accurate computation of binomial probabilities", 2000.
           (The idea of the remainder form; from memory.)

    Examples
    --------
    >>> at_most, above = hypergeometric_tails(
    ...     0, lot_size=50, nonconforming=1, unit_count=45
    ... )
    >>> round(at_most, 12), round(above, 12)
    (0.1, 0.9)

    One bad unit among 50 stays among the five that were not drawn in one case of ten.
    """
    least = max(0, unit_count + nonconforming - lot_size)
    most = min(unit_count, nonconforming)
    if count < least:
        return 0.0, 1.0
    if count >= most:
        return 1.0, 0.0
    lot = (lot_size, nonconforming, unit_count)
    if count * lot_size < nonconforming * unit_count:
        at_most = _sum_from(count, lot, upward=False)
        # The smaller of the two is the one to sum: 1 minus the other loses its digits.
        above = 1.0 - at_most if at_most < 0.5 else _sum_from(count + 1, lot, upward=True)
        return at_most, above
    above = _sum_from(count + 1, lot, upward=True)
    at_most = 1.0 - above if above < 0.5 else _sum_from(count, lot, upward=False)
    return at_most, above


def log_chance_at_most(
    count: int, *, lot_size: int, nonconforming: int, unit_count: int
) -> tuple[float, float]:
    """
    Logarithm of the chance of at most a number found, and its ratio to that of the number.

    Parameters and method are those of `hypergeometric_tails`, but `count` must be a number
    that can be found. The logarithm is a number also where the chance is too small for one.

    Returns
    -------
    tuple of float
        ``ln P(X <= count)`` and ``P(X <= count) / P(X = count)``, the second infinite where
        it is beyond all numbers.

    Examples
    --------
    >>> log_chance, ratio = log_chance_at_most(
    ...     1, lot_size=10, nonconforming=2, unit_count=5
    ... )
    >>> round(math.exp(log_chance), 12), round(ratio, 12)
    (0.777777777778, 1.4)

    Five of ten units are drawn: both bad ones are among them in two cases of nine.
    """
    lot = (lot_size, nonconforming, unit_count)
    log_chance = _log_chance(count, *lot)
    if count * lot_size > nonconforming * unit_count:
        # The terms rise away from `count`: their sum in its units may be beyond all numbers.
        at_most = 1.0 - _sum_from(count + 1, lot, upward=True)
        chance = math.exp(log_chance)
        return math.log(at_most), at_most / chance if chance > 0.0 else math.inf
    ratio = _relative_sum(count, *lot, upward=False)
    return log_chance + math.log(ratio), ratio


def _sum_from(count: int, lot: tuple[int, int, int], *, upward: bool) -> float:
    """Sum of the chances from `count` to one end."""
    return min(1.0, math.exp(_log_chance(count, *lot)) * _relative_sum(count, *lot, upward=upward))


def _relative_sum(
    count: int, lot_size: int, nonconforming: int, unit_count: int, *, upward: bool
) -> float:
    """Sum of the chances from `count` to one end, in units of the chance of `count`."""
    if upward:  # More bad units found are fewer good ones: the same sum, with good for bad.
        count, nonconforming = unit_count - count, lot_size - nonconforming
    least = max(0, unit_count + nonconforming - lot_size)
    missed, spared = float(nonconforming - count), float(unit_count - count)
    good_left = float(lot_size - nonconforming - unit_count + count)
    found, total, last = float(count), 1.0, 1.0
    for _ in range(min(count - least, _SINGLE_STEPS)):
        missed, spared = missed + 1.0, spared + 1.0
        last *= found * good_left / (missed * spared)
        total += last
        found, good_left = found - 1.0, good_left - 1.0
        if last <= _NEGLIGIBLE * total:
            return total
    steps, block = int(found) - least, _FIRST_BLOCK
    while steps > 0 and last > _NEGLIGIBLE * total:
        ahead = np.arange(min(block, steps), dtype=np.float64)
        ratios = (found - ahead) * (good_left - ahead)
        ratios /= (missed + 1.0 + ahead) * (spared + 1.0 + ahead)
        with np.errstate(under="ignore"):
            terms = np.cumprod(ratios) * last
        total += float(terms.sum())
        last = float(terms[-1])
        length = float(ahead.size)
        found, good_left = found - length, good_left - length
        missed, spared = missed + length, spared + length
        steps, block = steps - ahead.size, min(4 * block, _LARGEST_BLOCK)
    return total


def _log_chance(count: int, lot_size: int, nonconforming: int, unit_count: int) -> float:
    """Logarithm of P(X = count), for a count that can be."""
    others, rest = lot_size - nonconforming, lot_size - unit_count
    # Whole numbers first: the deviation of all four cells, rounded once.
    deviation = (count * lot_size - nonconforming * unit_count) / lot_size
    cells = (
        (count, nonconforming * unit_count / lot_size, deviation),
        (nonconforming - count, nonconforming * rest / lot_size, -deviation),
        (unit_count - count, others * unit_count / lot_size, -deviation),
        (rest - nonconforming + count, others * rest / lot_size, deviation),
    )
    margins = (nonconforming, others, unit_count, rest)
    return (
        math.fsum(_stirling_remainder(margin) for margin in margins)
        - _stirling_remainder(lot_size)
        - math.fsum(_stirling_remainder(cell) for cell, _, _ in cells)
        - math.fsum(_deviance(*cell) for cell in cells)
    )


def _stirling_remainder(number: int) -> float:
    """``ln x! - x ln x + x``, which is ``ln(2 pi x) / 2`` and a little more."""
    if number == 0:
        return 0.0
    value = float(number)
    if value < _SMALL:
        return math.lgamma(value + 1.0) - value * math.log(value) + value
    square = 1.0 / (value * value)
    series = 1 / 12 - square * (1 / 360 - square * (1 / 1260 - square * (1 / 1680 - square / 1188)))
    return 0.5 * math.log(2.0 * math.pi * value) + series / value


def _deviance(cell: int, expected: float, deviation: float) -> float:
    """``x ln(x / e) - x + e`` for a cell x, its expected value e and their difference x - e."""
    if cell == 0 or expected == 0.0:
        return expected
    value = float(cell)
    part = deviation / (value + expected)
    if abs(part) > 0.1:
        return value * math.log(value / expected) - deviation
    # ln(x / e) = 2 artanh(part), whose first term meets -deviation without losing digits.
    square, power, total = part * part, 2.0 * value * part, deviation * part
    for odd in range(3, 41, 2):
        power *= square
        total += power / odd
        if abs(power) <= 1e-18 * total:
            break
    return total
