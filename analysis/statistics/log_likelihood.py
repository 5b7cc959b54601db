"""Log-likelihood of a lot's lives in a location and spread of log life, with derivatives.

For both standard forms the log-likelihood is concave in ``a = location / spread`` and
``b = 1 / spread`` (their densities are log-concave, so brackets are too), so a climb along
Newton's direction cannot end anywhere but at the maximum.
"""

import math
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from analysis.checks import FloatArray
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.standard_forms import BracketTerms, ExtremeValue, Normal, Terms
from schemas.fits import Distribution

# Across a narrow bracket the density changes by less than this factor's logarithm. Its two
# ends' difference would lose digits; Gauss and Legendre's rule of ten points loses none.
_NARROW = 0.5
_POINTS, _WEIGHTS = (0.5 * array for array in np.polynomial.legendre.leggauss(10))
_POINTS = _POINTS + 0.5  # on the bracket from 0 to 1

Form = type[ExtremeValue] | type[Normal]
_FORMS: dict[str, Form] = {
    "WEIBULL": ExtremeValue,
    "EXPONENTIAL": ExtremeValue,
    "LOGNORMAL": Normal,
}


class SortedLives(Struct, frozen=True, kw_only=True):
    """Lives by kind, as log cycles from `center`, with their counts; `form` is the standard one."""

    form: Form
    center: float
    exact: FloatArray
    exact_counts: FloatArray
    unbroken: FloatArray
    unbroken_counts: FloatArray
    failed_by: FloatArray
    failed_by_counts: FloatArray
    bracket_low: FloatArray
    bracket_width: FloatArray
    bracket_counts: FloatArray

    @property
    def failure_count(self) -> float:
        """Units that failed, exactly or within a bracket."""
        return float(
            self.exact_counts.sum() + self.failed_by_counts.sum() + self.bracket_counts.sum()
        )


class Derivatives(NamedTuple):
    """Log-likelihood and its derivatives by a = location / spread and b = 1 / spread."""

    value: float
    by_a: float
    by_b: float
    by_aa: float
    by_ab: float
    by_bb: float


def sort_lives(records: LifeRecords, distribution: Distribution) -> SortedLives:
    """Split lives by kind and take logarithms, once for many evaluations."""
    low, high, counts = records.low_cycles, records.high_cycles, records.counts
    exact = low == high
    unbroken = np.isinf(high)
    failed_by = (low == 0.0) & ~unbroken
    between = ~(exact | unbroken | failed_by)
    known = np.where(low > 0.0, low, high)
    longest = float(known.max()) if known.size else 1.0
    log_low = _log_shares(np.where(low > 0.0, low, longest), longest)
    log_high = _log_shares(np.where(unbroken, longest, high), longest)
    # ln(high / low) by log1p keeps the digits of a narrow bracket at a large count.
    width = np.log1p((high[between] - low[between]) / low[between])
    return SortedLives(
        form=_FORMS[distribution],
        center=math.log(longest),
        exact=log_low[exact],
        exact_counts=counts[exact],
        unbroken=log_low[unbroken],
        unbroken_counts=counts[unbroken],
        failed_by=log_high[failed_by],
        failed_by_counts=counts[failed_by],
        bracket_low=log_low[between],
        bracket_width=width,
        bracket_counts=counts[between],
    )


def _log_shares(cycles: FloatArray, longest: float) -> FloatArray:
    """``ln(cycles / longest)``, by log1p where a difference of logarithms loses digits."""
    apart = (cycles - longest) / longest
    shares: FloatArray = np.log(cycles) - math.log(longest)
    near = np.abs(apart) < 0.5
    shares[near] = np.log1p(apart[near])
    return shares


def log_likelihood(
    records: LifeRecords, distribution: Distribution, *, location: float, spread: float
) -> float:
    """
    Log-likelihood of lives at a location and spread of log life.

    Parameters
    ----------
    records : LifeRecords
        The lives.
    distribution : {"WEIBULL", "LOGNORMAL", "EXPONENTIAL"}
        Standard form of log life; for EXPONENTIAL give spread 1.
    location : float, finite, keyword only
        Logarithm of the characteristic life (eta) in cycles, of the median life for LOGNORMAL.
    spread : float, finite, > 0, keyword only
        1 / shape for WEIBULL, sigma for LOGNORMAL.

    Returns
    -------
    float
        An exact failure counts by its density per cycle, a unit that did not fail by its
        survival, a bracket by the probability between its ends.

    Notes
    -----
    Terms as in W. Q. Meeker and L. A. Escobar, "Statistical Methods for Reliability
    Data", 1998, chapter 2 (from memory).

    Examples
    --------
    One unit failed at 100 cycles, one stopped there; a Weibull of shape 1 and scale 200:

    >>> import math
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([100, 100], [True, False])
    >>> round(log_likelihood(lives, "WEIBULL", location=math.log(200), spread=1.0), 6)
    -6.298317
    """
    lives = sort_lives(records, distribution)
    b = 1.0 / spread
    return derivatives(lives, (location - lives.center) * b, b).value


def derivatives(lives: SortedLives, a: float, b: float) -> Derivatives:
    """
    Log-likelihood with gradient and curvature at a = location / spread, b = 1 / spread.

    `a` refers to locations from ``lives.center``; `b` is above 0.
    """
    total = np.zeros(6)
    if lives.exact.size:
        y, counts = lives.exact, lives.exact_counts
        total += chained_sums(y, counts, lives.form.density(b * y - a))
        count = float(counts.sum())
        # Per cycle instead of per unit of z: the derivative of z by the cycles.
        total[0] += count * (math.log(b) - lives.center) - float(counts @ y)
        total[2] += count / b
        total[5] -= count / (b * b)
    if lives.unbroken.size:
        terms = lives.form.survival(b * lives.unbroken - a)
        total += chained_sums(lives.unbroken, lives.unbroken_counts, terms)
    if lives.failed_by.size:
        terms = lives.form.failed_by(b * lives.failed_by - a)
        total += chained_sums(lives.failed_by, lives.failed_by_counts, terms)
    if lives.bracket_low.size:
        total += _chained_brackets(lives, a, b)
    return Derivatives(*(float(each) for each in total))


def chained_sums(log_lives: FloatArray, counts: FloatArray, terms: Terms) -> FloatArray:
    """
    Sums over lives (last axis) of terms in ``z = b y - a``, and their derivatives.

    In the order of `Derivatives`; for one pair of a and b, or for many, a row of terms each.
    """
    once = counts * log_lives
    twice = once * log_lives
    return np.stack(
        [
            terms.value @ counts,
            -(terms.first @ counts),
            terms.first @ once,
            terms.second @ counts,
            -(terms.second @ once),
            terms.second @ twice,
        ]
    )


def chained_bracket_sums(
    low: FloatArray, width: FloatArray, counts: FloatArray, terms: BracketTerms
) -> FloatArray:
    """The same for brackets, whose two ends move together."""
    high = low + width
    by_ends = terms.by_low_twice + 2.0 * terms.by_both + terms.by_high_twice
    by_ends_and_b = (
        terms.by_low_twice * low + terms.by_both * (low + high) + terms.by_high_twice * high
    )
    by_b_twice = (
        terms.by_low_twice * (low * low)
        + terms.by_both * (2.0 * low * high)
        + terms.by_high_twice * (high * high)
    )
    return np.stack(
        [
            terms.value @ counts,
            -((terms.by_low + terms.by_high) @ counts),
            terms.by_low @ (low * counts) + terms.by_high @ (high * counts),
            by_ends @ counts,
            -(by_ends_and_b @ counts),
            by_b_twice @ counts,
        ]
    )


def _chained_brackets(lives: SortedLives, a: float, b: float) -> FloatArray:
    """The same for brackets; narrow ones by the integral of their density."""
    low, width, counts = lives.bracket_low, lives.bracket_width, lives.bracket_counts
    z, z_width = b * low - a, b * width
    with np.errstate(over="ignore", invalid="ignore"):
        steepest = np.maximum(
            np.abs(lives.form.density(z).first), np.abs(lives.form.density(z + z_width).first)
        )
        narrow = z_width * (1.0 + steepest) < _NARROW
    total = np.zeros(6)
    if narrow.any():
        brackets = (low[narrow], width[narrow], counts[narrow])
        total += _chained_narrow(lives.form, brackets, a, b)
    if not narrow.all():
        wide = ~narrow
        terms = lives.form.bracket(z[wide], z_width[wide])
        total += chained_bracket_sums(low[wide], width[wide], counts[wide], terms)
    return total


def _chained_narrow(
    form: Form, brackets: tuple[FloatArray, FloatArray, FloatArray], a: float, b: float
) -> FloatArray:
    """
    Sums for narrow brackets, with derivatives by a shift of both ends and by the width.

    A shift changes ``ln P`` by the mean of the density's own slope over the bracket, and
    that mean by the mean curvature and the slope's variance; the width by the density at
    the upper end over P.
    """
    low, width, counts = brackets
    z, z_width = b * low - a, b * width
    inside = form.density(z[:, None] + z_width[:, None] * _POINTS)
    top = inside.value.max(axis=1)
    shares = _WEIGHTS * np.exp(inside.value - top[:, None])
    total = shares.sum(axis=1)
    value = np.log(z_width) + top + np.log(total)
    shares /= total[:, None]
    shift = (shares * inside.first).sum(axis=1)
    bend = inside.second + (inside.first - shift[:, None]) ** 2
    shift_twice = (shares * bend).sum(axis=1)
    upper = form.density(z + z_width)
    widened = np.exp(upper.value - value)
    both = widened * (upper.first - shift)
    widened_twice = widened * (upper.first - widened)
    return np.array(
        [
            counts @ value,
            -(counts @ shift),
            counts @ (shift * low + widened * width),
            counts @ shift_twice,
            -(counts @ (shift_twice * low + both * width)),
            counts @ (shift_twice * low**2 + 2.0 * both * low * width + widened_twice * width**2),
        ]
    )
