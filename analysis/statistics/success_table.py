"""Tables of demonstrations by counting: every cell at once, each equal to the single answer.

The functions take arrays that broadcast against each other: a column of reliabilities, a row
of confidences and a third axis of allowed failures give a whole book of tables.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analysis.checks import BoolArray, FloatArray
from analysis.errors import OutsideDomainError
from analysis.statistics.rounding import risk_limits
from analysis.statistics.success_run import units_required
from analysis.statistics.table_arguments import (
    CountArray,
    TableIndex,
    counts_of_table,
    fractions_of_table,
    planes_of_table,
    shape_of_table,
)

MOST_TERMS = 16
"""With more failures allowed one incomplete beta function costs less than the sum."""

_CLOSE = 1e-9  # Chances this close to the limit are compared by the function for one cell.
_MOST_REPAIRS = 3  # A cell that this many further steps do not prove lies at the limit.
_LARGEST = np.iinfo(np.int64).max


class _Cells(NamedTuple):
    """What decides cells that allow one number of failures; the arrays broadcast."""

    reliability: FloatArray
    log_reliability: FloatArray
    odds: FloatArray
    mean: FloatArray
    limit: FloatArray
    log_limit: FloatArray

    def at(self, index: TableIndex, shape: tuple[int, ...]) -> "_Cells":
        """The cells at `index` of the arrays broadcast to `shape`."""
        return _Cells(*(np.broadcast_to(values, shape)[index] for values in self))


_Chances = Callable[[FloatArray, _Cells, int], tuple[FloatArray, FloatArray, FloatArray]]


def units_required_table(
    reliability: ArrayLike, confidence: ArrayLike, *, allowed_failures: ArrayLike
) -> CountArray:
    """
    Smallest number of units that demonstrates a reliability, for every cell of a table.

    Parameters
    ----------
    reliability : array_like of float, 0 < reliability < 1
        Fraction of units that must reach the target. No unit.
    confidence : array_like of float, 0 < confidence < 1
        One-sided confidence of the demonstration. No unit.
    allowed_failures : array_like of int, >= 0, keyword only
        Most failures the plan tolerates, fixed before the test starts.

    Returns
    -------
    ndarray of int64
        Units to run to the target, those that fail included, in the shape to which the
        three arguments broadcast.

    Raises
    ------
    OutsideDomainError
        If an argument holds a value outside its range, or the three do not broadcast.

    Notes
    -----
    Each cell equals `units_required`. A Poisson quantile with a correction starts the
    search; the sum ``P(X <= r) = R^n (T_0 + ... + T_r)`` gives the chance of passing with n
    and, by Pascal's rule, with n - 1 units at once: their ratio leads to the answer in one
    step and proves it in a second. A cell so close to the limit that rounding could decide
    is handed to `units_required` itself.

    Examples
    --------
    >>> units_required_table([[0.90], [0.95]], [0.90, 0.95], allowed_failures=0)
    array([[22, 29],
           [45, 59]])
    >>> units_required_table(0.90, 0.90, allowed_failures=[0, 1, 2])
    array([22, 38, 52])

    At 90 % reliability and confidence each allowed failure costs some 15 units.
    """
    wanted = fractions_of_table("reliability", reliability)
    sure = fractions_of_table("confidence", confidence)
    allowed = counts_of_table("allowed_failures", allowed_failures, least=0)
    asked_shape = shape_of_table(wanted, sure, allowed)
    shape = asked_shape or (1,)
    found, proven = _search(_cells(wanted, sure, allowed), allowed, shape)
    given = [np.broadcast_to(values, shape) for values in (wanted, sure, allowed)]
    for index in zip(*np.nonzero(~proven), strict=True):
        one_reliability, one_confidence, most = (values[index].item() for values in given)
        units = units_required(one_reliability, one_confidence, allowed_failures=most)
        if units > _LARGEST:
            raise OutsideDomainError("reliability", one_reliability, "small enough to be counted")
        found[index] = units
    return found.reshape(asked_shape)


def chance_of_passing_table(
    unit_count: ArrayLike, *, allowed_failures: ArrayLike, reliability: ArrayLike
) -> FloatArray:
    """
    Chance that a lot of a given reliability passes a plan: operating characteristics.

    Parameters
    ----------
    unit_count : array_like of int, >= 1
        Units that the plan runs to the target once.
    allowed_failures : array_like of int, >= 0, keyword only
        Most failures the plan tolerates.
    reliability : array_like of float, 0 < reliability <= 1, keyword only
        Reliability that the lot really has at the target. No unit.

    Returns
    -------
    ndarray of float
        ``P(X <= allowed_failures)`` for X binomial with `unit_count` and 1 - `reliability`,
        in the shape to which the arguments broadcast.

    Raises
    ------
    OutsideDomainError
        If an argument holds a value outside its range, or they do not broadcast.

    Examples
    --------
    >>> chance_of_passing_table(
    ...     [[22], [38]], allowed_failures=[[0], [1]], reliability=[0.90, 0.99]
    ... ).round(3)
    array([[0.098, 0.802],
           [0.095, 0.945]])

    Both plans stop a lot at 90 %; a good lot of 99 % fails the first in one case of five
    and the second in one of eighteen.
    """
    units = counts_of_table("unit_count", unit_count, least=1)
    allowed = counts_of_table("allowed_failures", allowed_failures, least=0)
    true = fractions_of_table("reliability", reliability, up_to_one=True)
    asked_shape = shape_of_table(units, allowed, true)
    shape = asked_shape or (1,)
    log_true = np.log(true)
    odds = -np.expm1(log_true) / true
    given = [
        np.broadcast_to(values, shape)
        for values in (units.astype(np.float64), true, log_true, odds)
    ]
    chance = np.empty(shape)
    for most, plane in planes_of_table(allowed, shape):
        chance[plane] = _chance(most, *(values[plane] for values in given))
    return chance.reshape(asked_shape)


def _chance(
    allowed: int,
    units: FloatArray,
    reliability: FloatArray,
    log_reliability: FloatArray,
    odds: FloatArray,
) -> FloatArray:
    """P(X <= allowed), by the sum where its first factor R^n is a number."""
    powers = units * log_reliability
    if allowed > MOST_TERMS or powers.min(initial=0.0) < -600.0:
        return _chance_by_beta(units, allowed, reliability, log_reliability)
    total, _ = sum_of_terms(units, allowed, odds)
    total *= np.exp(powers, out=powers)
    total[units <= allowed] = 1.0
    return np.minimum(total, 1.0, out=total)


def _cells(reliability: FloatArray, confidence: FloatArray, allowed: CountArray) -> _Cells:
    """Logarithms and quantiles, one for each row or column and not one for each cell."""
    log_reliability = np.log(reliability)
    limit = risk_limits(confidence)
    return _Cells(
        reliability=reliability,
        log_reliability=log_reliability,
        odds=-np.expm1(log_reliability) / reliability,
        mean=np.asarray(special.gammaincinv(allowed + 1.0, confidence), dtype=np.float64),
        limit=limit,
        log_limit=np.log(limit),
    )


def _search(
    cells: _Cells, allowed: CountArray, shape: tuple[int, ...]
) -> tuple[CountArray, BoolArray]:
    """Units for each cell, and whether the chances of n and n - 1 prove the number."""
    found = np.zeros(shape, dtype=np.int64)
    proven = np.zeros(shape, dtype=np.bool_)
    ordinary = (
        (cells.log_reliability < -1e-8)
        & (cells.log_reliability > -5.0)
        & (cells.limit > 1e-14)
        & (cells.limit < 1.0 - 1e-6)
    )
    ordinary = np.broadcast_to(ordinary, shape)
    # Cells that are not ordinary are worked on too, for nothing: most tables have none.
    with np.errstate(all="ignore"):
        for most, plane in planes_of_table(allowed, shape):
            units, reached = _solve(cells.at(plane, shape), most, ordinary[plane])
            found[plane] = np.where(reached, units, 0.0)
            proven[plane] = reached
    return found, proven


def _solve(cells: _Cells, allowed: int, ordinary: BoolArray) -> tuple[FloatArray, BoolArray]:
    """Step to the answer from a Poisson start, then again where the proof failed."""
    start = cells.mean * (0.5 + 1.0 / cells.odds) + 0.5 * allowed
    units, proven = _step(np.maximum(start, allowed + 0.6), cells, allowed)
    proven &= ordinary
    for _ in range(_MOST_REPAIRS):
        again = np.nonzero(ordinary & ~proven)
        if again[0].size == 0:
            break
        part = cells.at(again, units.shape)
        units[again], proven[again] = _step(units[again], part, allowed)
    return units, proven


def _step(units: FloatArray, cells: _Cells, allowed: int) -> tuple[FloatArray, BoolArray]:
    """Follow ln P, nearly a straight line in n, to the limit; say where n is proven there."""
    chances: _Chances = _chances_by_sum if allowed <= MOST_TERMS else _chances_by_beta
    now, more, power = chances(units, cells, allowed)
    over = np.log(now) + power - cells.log_limit
    # ln P(n - 1) - ln P(n) = ln(1 + more / now), here by a fraction that is close enough.
    more /= now
    over *= more * 4.0 + 6.0
    over /= more * (more + 6.0)
    over += units
    units = np.ceil(over, out=over)
    np.maximum(units, allowed + 1.0, out=units)
    now, more, power = chances(units, cells, allowed)
    more += now
    limit = cells.limit / np.exp(power)
    return units, (now <= limit * (1.0 - _CLOSE)) & (more > limit * (1.0 + _CLOSE))


def _chances_by_sum(
    units: FloatArray, cells: _Cells, allowed: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """
    Chance of passing with n units, and what n - 1 units add to it; n may be a fraction.

    Both are given divided by R^n, the third array is the logarithm of that.
    """
    total, more = sum_of_terms(units, allowed, cells.odds)
    # Pascal's rule: n - 1 units pass where n do, and where the n-th is one failure too many.
    more *= cells.odds
    if allowed:
        more *= 1.0 - allowed / units
    return total, more, units * cells.log_reliability


def _chances_by_beta(
    units: FloatArray, cells: _Cells, allowed: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The same by the incomplete beta function, for many allowed failures, not divided."""
    given = (cells.reliability, cells.log_reliability)
    now = _chance_by_beta(units, allowed, *given)
    return now, _chance_by_beta(units - 1.0, allowed, *given) - now, np.zeros_like(now)


def sum_of_terms(
    units: FloatArray, allowed: int, odds: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """
    Chance of passing divided by R^n: the sum of ``C(n, k) odds**k`` for k up to `allowed`.

    Parameters
    ----------
    units : ndarray of float
        Units (n), whole or not.
    allowed : int, >= 0
        Failures up to which the terms are added.
    odds : ndarray of float
        Failing units per surviving one, ``(1 - R) / R``.

    Returns
    -------
    tuple of ndarray
        The sum and its last term.

    Examples
    --------
    >>> sum_of_terms(np.array([3.0]), 1, np.array([0.5]))
    (array([2.5]), array([1.5]))
    """
    term = np.ones(np.broadcast_shapes(units.shape, odds.shape))
    total = term.copy()
    for k in range(1, allowed + 1):
        term *= units - (k - 1.0)
        term *= odds / k
        total += term
    return total, term


def _chance_by_beta(
    units: FloatArray, allowed: int, reliability: FloatArray, log_reliability: FloatArray
) -> FloatArray:
    """P(X <= allowed) in the form that suits the reliability, as for one cell."""
    survivors = units - allowed
    left = np.where(survivors > 0.0, survivors, 1.0)
    chance = np.where(
        reliability < 0.5,
        special.betainc(left, allowed + 1.0, reliability),
        special.betaincc(allowed + 1.0, left, -np.expm1(log_reliability)),
    )
    return np.where(survivors > 0.0, chance, 1.0)
