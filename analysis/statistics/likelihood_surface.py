"""Log-likelihood of a lot and its slopes at many pairs of location and spread at once.

In a = location / spread and b = 1 / spread (locations counted from the largest log life) the
log-likelihood is concave for both standard forms, so the pairs above any level make a convex
region: one closed curve bounds it. Values leave out a constant that no difference needs.
"""

from typing import NamedTuple

import numpy as np
from msgspec import Struct

from analysis.checks import FloatArray
from analysis.statistics.log_likelihood import (
    Form,
    SortedLives,
    chained_bracket_sums,
    chained_sums,
)
from analysis.statistics.standard_forms import ExtremeValue

_NARROW = 1e-5
"""A bracket this narrow in spreads is an exact failure at its middle: off by 1e-11 at most."""
_ROUNDING = 1e-14
_MOST_ELEMENTS = 1 << 17
"""Pairs times lives that are worked on at once: 1 MB, which stays in the cache."""


class Slopes(NamedTuple):
    """Log-likelihood up to a constant and its derivatives by a and b, one per pair."""

    value: FloatArray
    by_a: FloatArray
    by_b: FloatArray
    by_aa: FloatArray
    by_ab: FloatArray
    by_bb: FloatArray


class PowerSurface(Struct, frozen=True, kw_only=True):
    """
    Weibull lives without brackets: everything follows from three sums of powers.

    With d failures and S(b) the sum of all lives to the power b, the log-likelihood is
    ``d ln b + b sum(log lives of failures) - d a - exp(-a) S(b)``.
    """

    log_lives: FloatArray
    moments: FloatArray  # columns: counts, counts * log life, counts * log life squared
    failure_count: float
    failed_log_sum: float
    rounding: float  # error of a value, beyond that of its own last places

    def slopes(self, a: FloatArray, b: FloatArray) -> Slopes:
        """At each pair of `a` and `b` (above 0)."""
        sums = np.exp(np.multiply.outer(b, self.log_lives)) @ self.moments
        sums *= np.exp(-a)[:, None]
        total, first, second = sums[:, 0], sums[:, 1], sums[:, 2]
        count = self.failure_count
        return Slopes(
            value=count * (np.log(b) - a) + b * self.failed_log_sum - total,
            by_a=total - count,
            by_b=count / b + self.failed_log_sum - first,
            by_aa=-total,
            by_ab=first,
            by_bb=-count / (b * b) - second,
        )

    @property
    def row_size(self) -> int:
        """Numbers worked on for one pair."""
        return self.log_lives.size

    @property
    def is_finite_without_shape(self) -> bool:
        """Never: an exact failure becomes impossible as b falls to 0."""
        return False


class FormSurface(Struct, frozen=True, kw_only=True):
    """Lives of any kind in either standard form, term by term."""

    form: Form
    exact: FloatArray
    exact_counts: FloatArray
    unbroken: FloatArray
    unbroken_counts: FloatArray
    failed_by: FloatArray
    failed_by_counts: FloatArray
    bracket_low: FloatArray
    bracket_width: FloatArray
    bracket_counts: FloatArray
    rounding: float  # error of a value, beyond that of its own last places

    def slopes(self, a: FloatArray, b: FloatArray) -> Slopes:
        """At each pair of `a` and `b` (above 0; 0 too where no failure is exact or bracketed)."""
        total = np.zeros((6, a.size))
        if self.exact.size:
            terms = self.form.density(_standard(self.exact, a, b))
            total += chained_sums(self.exact, self.exact_counts, terms)
            count = float(self.exact_counts.sum())
            total[0] += count * np.log(b)
            total[2] += count / b
            total[5] -= count / (b * b)
        if self.unbroken.size:
            terms = self.form.survival(_standard(self.unbroken, a, b))
            total += chained_sums(self.unbroken, self.unbroken_counts, terms)
        if self.failed_by.size:
            terms = self.form.failed_by(_standard(self.failed_by, a, b))
            total += chained_sums(self.failed_by, self.failed_by_counts, terms)
        if self.bracket_low.size:
            low, width = self.bracket_low, self.bracket_width
            bracket = self.form.bracket(_standard(low, a, b), np.multiply.outer(b, width))
            total += chained_bracket_sums(low, width, self.bracket_counts, bracket)
        return Slopes(*total)

    @property
    def row_size(self) -> int:
        """Numbers worked on for one pair."""
        return max(self.exact.size, self.unbroken.size, self.failed_by.size, self.bracket_low.size)

    @property
    def is_finite_without_shape(self) -> bool:
        """Whether the likelihood stays above 0 as b falls to 0: each unit was looked at once."""
        return not self.exact.size and not self.bracket_low.size


Surface = PowerSurface | FormSurface


def likelihood_surface(lives: SortedLives, *, typical_spread: float) -> Surface:
    """
    Prepare the lives of a lot for evaluation at many pairs at once.

    Parameters
    ----------
    lives : SortedLives
        The lives, as `analysis.statistics.log_likelihood.sort_lives` gives them.
    typical_spread : float, > 0, keyword only
        Spread near which the pairs will lie; tells which brackets are narrow.

    Returns
    -------
    PowerSurface or FormSurface

    Examples
    --------
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> from analysis.statistics.log_likelihood import sort_lives
    >>> lives = sort_lives(lives_with_run_outs([50, 100], [True, False]), "WEIBULL")
    >>> surface = likelihood_surface(lives, typical_spread=1.0)
    >>> type(surface).__name__, surface.row_size
    ('PowerSurface', 2)
    """
    narrow = lives.bracket_width < _NARROW * typical_spread
    middle = lives.bracket_low[narrow] + 0.5 * lives.bracket_width[narrow]
    exact = np.concatenate([lives.exact, middle])
    exact_counts = np.concatenate([lives.exact_counts, lives.bracket_counts[narrow]])
    wide = ~narrow
    if lives.form is ExtremeValue and not lives.failed_by.size and not wide.any():
        log_lives = np.concatenate([exact, lives.unbroken])
        counts = np.concatenate([exact_counts, lives.unbroken_counts])
        firsts = counts * log_lives
        return PowerSurface(
            log_lives=log_lives,
            moments=np.stack([counts, firsts, firsts * log_lives], axis=1),
            failure_count=float(exact_counts.sum()),
            failed_log_sum=float(exact_counts @ exact),
            rounding=_ROUNDING * float(counts.sum()),
        )
    unit_count = exact_counts.sum() + lives.unbroken_counts.sum() + lives.failed_by_counts.sum()
    # A probability between two ends is a difference: digits are lost as they come close.
    widths = lives.bracket_width[wide] / typical_spread
    lost = (lives.bracket_counts[wide] * (1.0 + 1.0 / widths)).sum()
    return FormSurface(
        form=lives.form,
        exact=exact,
        exact_counts=exact_counts,
        unbroken=lives.unbroken,
        unbroken_counts=lives.unbroken_counts,
        failed_by=lives.failed_by,
        failed_by_counts=lives.failed_by_counts,
        bracket_low=lives.bracket_low[wide],
        bracket_width=lives.bracket_width[wide],
        bracket_counts=lives.bracket_counts[wide],
        rounding=_ROUNDING * float(unit_count + lost),
    )


def slopes_at(surface: Surface, a: FloatArray, b: FloatArray) -> Slopes:
    """
    Log-likelihood and slopes at each pair, in blocks that stay in the cache.

    Far from the maximum a value may be -inf and its slopes no numbers; nothing is raised.

    Examples
    --------
    One unit failed at the largest life there is, 1 in its own units; ``1 - e**-a`` has its
    root at a = 0:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> from analysis.statistics.log_likelihood import sort_lives
    >>> lives = sort_lives(lives_with_run_outs([1], [True]), "WEIBULL")
    >>> surface = likelihood_surface(lives, typical_spread=1.0)
    >>> slopes_at(surface, np.array([0.0]), np.array([1.0])).by_a.tolist()
    [0.0]
    """
    rows = max(1, _MOST_ELEMENTS // max(1, surface.row_size))
    with np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore"):
        if a.size <= rows:
            return surface.slopes(a, b)
        blocks = [
            surface.slopes(a[start : start + rows], b[start : start + rows])
            for start in range(0, a.size, rows)
        ]
    return Slopes(*(np.concatenate(parts) for parts in zip(*blocks, strict=True)))


def _standard(log_lives: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    """``b y - a`` for each pair (row) and life (column)."""
    return np.multiply.outer(b, log_lives) - a[:, None]
