"""The equation whose only root is the Weibull shape of greatest likelihood, for one lot."""

import math
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from analysis.checks import BoolArray, FloatArray
from analysis.errors import DidNotConvergeError

_NEAR_LONGEST = 0.9  # Above this share of the longest life log1p keeps digits that log loses.
LAST_STEP = 3e-8  # Newton doubles the digits: after a step this small 15 of them hold.
LONGEST_STEP = 2.0  # in ln(shape): a factor of 7.4 per step
START_TIMES_DEVIATION = math.pi / math.sqrt(6.0)  # shape times deviation of log lives
_NARROWEST = 1e-15  # No number lies between two that are closer than this.
_MOST_STEPS = 200  # Bisection alone needs fewer; most fits take 4 to 7 steps.
_MOST_ENTRIES = 200  # Only so many are looked through for equal ones.
_WORTH_SHORTENING = 0.8  # Arrays are copied if no more than this share of them remains.
_FEW_DISTINCT = 40  # Up to here lists are faster than arrays.


class PowerSums(NamedTuple):
    """Sums of ``t**b``, ``t**b ln t`` and ``t**b (ln t)**2`` over units, t in longest lives."""

    total: float
    first: float
    second: float


class FewLives(Struct, frozen=True, kw_only=True):
    """Log lives over the longest one with their counts, for lots of few distinct lives."""

    terms: list[tuple[float, float]]
    longest_cycles: float
    failure_count: float
    mean_log_failure: float

    def power_sums(self, shape: float) -> PowerSums:
        """The three sums at a shape."""
        exp = math.exp
        total = first = second = 0.0
        for log_life, count in self.terms:
            power = count * exp(shape * log_life)
            total += power
            power *= log_life
            first += power
            second += power * log_life
        return PowerSums(total, first, second)

    def deviation(self) -> float:
        """Standard deviation of the log lives."""
        count = math.fsum(count for _, count in self.terms)
        mean = math.fsum(count * x for x, count in self.terms) / count
        return math.sqrt(math.fsum(count * (x - mean) ** 2 for x, count in self.terms) / count)


class ManyLives(Struct, frozen=True, kw_only=True):
    """
    The same in arrays; without counts each entry is one unit.

    `longest_count` units of the longest life, whose logarithm is 0, may stand apart.
    `room` is written over by each sum: fresh memory would cost as much as the sum.
    """

    log_lives: FloatArray
    counts: FloatArray | None
    longest_count: float
    longest_cycles: float
    failure_count: float
    mean_log_failure: float
    room: FloatArray

    def power_sums(self, shape: float) -> PowerSums:
        """The three sums at a shape."""
        powers = np.multiply(self.log_lives, shape, out=self.room)
        np.exp(powers, out=powers)
        if self.counts is not None:
            powers *= self.counts
        total = float(powers.sum()) + self.longest_count
        powers *= self.log_lives
        return PowerSums(total, float(powers.sum()), float(powers @ self.log_lives))

    def deviation(self) -> float:
        """Standard deviation of the log lives."""
        log_lives, counts = self.log_lives, self.counts
        if counts is None:
            held, total = float(log_lives.size), float(log_lives.sum())
        else:
            held, total = float(counts.sum()), float(counts @ log_lives)
        count = held + self.longest_count
        mean = total / count
        apart = np.subtract(log_lives, mean, out=self.room)
        apart *= apart
        squares = float(apart.sum() if counts is None else counts @ apart)
        return math.sqrt((squares + self.longest_count * mean * mean) / count)


class ShapeRoot(NamedTuple):
    """Shape at the root, the sum of ``t**shape`` there, and the Newton steps taken."""

    shape: float
    total: float
    iteration_count: int


def scale_lives(
    lives: FloatArray, failures: BoolArray, counts: FloatArray | None
) -> FewLives | ManyLives:
    """
    Take logarithms of lives over the longest one; leave out units that have not started.

    Some failure must lie above 0 cycles and below the longest life. Without `counts`
    each life is one unit's.
    """
    if lives.size <= _MOST_ENTRIES:
        listed = lives.tolist()
        if len(set(listed)) <= _FEW_DISTINCT:
            weights = [1.0] * lives.size if counts is None else counts.tolist()
            return _fold(listed, failures.tolist(), weights)
    return _in_arrays(lives, failures, counts)


def log_shares(lives: FloatArray, longest: FloatArray | np.float64) -> FloatArray:
    """
    ``ln(life / longest)``, -inf for a life of 0; exact to its last digits at both ends.

    Takes arrays that broadcast.
    """
    shares: FloatArray = lives / longest
    near = np.nonzero((shares > _NEAR_LONGEST) & (shares < 1.0))
    with np.errstate(divide="ignore"):
        np.log(shares, out=shares)
    if near[0].size:
        some = np.broadcast_to(lives, shares.shape)[near]
        whole = np.broadcast_to(longest, shares.shape)[near]
        shares[near] = np.log1p((some - whole) / whole)  # The rounded quotient loses digits here.
    return shares


def solve_shape(lives: FewLives | ManyLives) -> ShapeRoot:
    """
    Root of ``sum(t**b ln t) / sum(t**b) - 1/b = mean ln t of the failures``.

    Raises
    ------
    DidNotConvergeError
        If it is not reached in 200 steps; no data are known for which it is not.
    """
    wanted = lives.mean_log_failure
    # All terms of sum(t**b ln t) are at most 0 here, so the root cannot lie below this:
    low, high = -1.0 / wanted, math.inf
    shape = max(low, START_TIMES_DEVIATION / lives.deviation())
    for iteration in range(1, _MOST_STEPS + 1):
        total, first, second = lives.power_sums(shape)
        mean, inverse = first / total, 1.0 / shape
        score = mean - inverse - wanted
        # Digits lost in this difference cost a step at most: the root does not depend on it.
        slope = max(0.0, second / total - mean * mean) + inverse * inverse
        low, high = (low, shape) if score > 0.0 else (shape, high)
        step = -score / (shape * slope)  # Newton in ln(shape)
        if abs(step) <= LAST_STEP:
            change = shape * math.expm1(step)
            # Two terms of the sum's series reach its last digit for so small a change.
            reached = total + change * (first + 0.5 * change * second)
            return ShapeRoot(shape + change, reached, iteration)
        if high - low <= _NARROWEST * shape:
            return ShapeRoot(shape, total, iteration)
        proposed = shape * math.exp(min(max(step, -LONGEST_STEP), LONGEST_STEP))
        shape = proposed if low < proposed < high else _between(low, high)
    raise DidNotConvergeError("Weibull shape", f"{_MOST_STEPS} steps from the log lives' spread")


def _fold(lives: list[float], failures: list[bool], counts: list[float]) -> FewLives:
    """Lives as log lives with counts, equal ones added up."""
    longest = max(lives)
    units: dict[float, float] = {}
    failed: dict[float, float] = {}
    for life, has_failed, count in zip(lives, failures, counts, strict=True):
        units[life] = units.get(life, 0.0) + count
        if has_failed:
            failed[life] = failed.get(life, 0.0) + count
    # Not started: survival of 0 cycles is certain and says nothing about the parameters.
    units.pop(0.0, None)
    logs = {life: _log_share(life, longest) for life in units}
    failure_count = math.fsum(failed.values())
    log_sum = math.fsum(count * logs[life] for life, count in failed.items())
    return FewLives(
        terms=[(logs[life], count) for life, count in units.items()],
        longest_cycles=longest,
        failure_count=failure_count,
        mean_log_failure=log_sum / failure_count,
    )


def _log_share(life: float, longest: float) -> float:
    """``ln(life / longest)``; close to the longest the rounded quotient loses digits."""
    if life > _NEAR_LONGEST * longest:
        return math.log1p((life - longest) / longest)
    return math.log(life) - math.log(longest)


def _in_arrays(lives: FloatArray, failures: BoolArray, counts: FloatArray | None) -> ManyLives:
    """Lives as log lives in arrays."""
    longest = lives.max()
    # Units of 0 cycles have not started: as in `_fold`.
    below = (lives > 0.0) & (lives < longest)
    failure_weights = failures.astype(np.float64) if counts is None else counts * failures
    failure_count = float(failure_weights.sum())
    longest_count = 0.0
    if below.sum() < _WORTH_SHORTENING * lives.size or not lives.all():
        is_longest = lives == longest
        longest_count = float(is_longest.sum() if counts is None else counts @ is_longest)
        lives, failure_weights = lives[below], failure_weights[below]
        counts = None if counts is None else counts[below]
    log_lives = log_shares(lives, longest)
    return ManyLives(
        log_lives=log_lives,
        counts=counts,
        longest_count=longest_count,
        longest_cycles=float(longest),
        failure_count=failure_count,
        mean_log_failure=float(failure_weights @ log_lives) / failure_count,
        room=np.empty_like(log_lives),
    )


def _between(low: float, high: float) -> float:
    """Point inside the bracket when the Newton step left it."""
    return 2.0 * low if math.isinf(high) else math.sqrt(low) * math.sqrt(high)
