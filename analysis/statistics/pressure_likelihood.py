"""Weibull log-likelihood of groups of lives whose location follows covariates, and its maximum.

Log life is ``center + design @ beta + w / b`` with w smallest extreme value and b the common
shape. In ``theta = beta * b`` and b the log-likelihood is concave (the logarithms of density
and of every probability are), so a climb along Newton's direction cannot end anywhere but at
the maximum.
"""

import math
from typing import NamedTuple

import numpy as np
from scipy.optimize import linprog

from analysis.checks import BoolArray, FloatArray
from analysis.errors import DidNotConvergeError
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.log_likelihood import SortedLives, derivatives, sort_lives
from schemas.estimates import NotEstimable

_SETTLED = 1e-13  # Gain per failure promised by a step after which all digits hold.
_MOST_STEPS = 200  # 5 to 12 are usual.
_MOST_HALVINGS = 60
_LEAST_SHRINK = 0.2  # b must stay above 0: no step may shrink it further at once.
_NO_SHAPE = 1e-8  # A shape this small is on its way to 0.
_SAME = 1e-10  # Failures closer to one line than this lie on it.


class DesignedLives(NamedTuple):
    """Groups of lives, a row of `design` for each, and the log count they are taken from."""

    groups: tuple[SortedLives, ...]
    design: FloatArray
    center: float
    failure_count: float


class Slopes(NamedTuple):
    """Log-likelihood, gradient and minus the second derivatives by (theta, b)."""

    value: float
    gradient: FloatArray
    curvature: FloatArray


class Maximum(NamedTuple):
    """
    Greatest likelihood: location is ``center + design @ beta``, the common shape is `shape`.

    `covariance` is that of (beta, ln spread), from the observed information.
    """

    center: float
    beta: FloatArray
    shape: float
    covariance: FloatArray
    log_likelihood: float
    iteration_count: int
    score_size: float


def greatest_likelihood(groups: list[LifeRecords], design: FloatArray) -> Maximum | NotEstimable:
    """
    Fit a common shape and a location that follows covariates.

    Parameters
    ----------
    groups : list of LifeRecords
        Lives that share their covariates; each group not empty, one failure at least.
    design : numpy.ndarray, shape (groups, q), of rank q, the constant in its span
        Covariates of each group.

    Returns
    -------
    Maximum or NotEstimable
        Or ``ONE_LINE_FITS_ALL`` where a line goes through all failures and no unit that
        did not fail lies above it, so that the likelihood grows with the shape without
        end; ``SPREAD_WITHOUT_END`` where units looked at once only show no wear.

    Raises
    ------
    DidNotConvergeError
        If the climb does not end; no lives are known for which it does not.

    Notes
    -----
    Concavity: J. Burridge 1981 (citation from memory). The condition for a maximum is
    derived here from the directions along which no term of the log-likelihood falls.

    Examples
    --------
    One group and a constant is an ordinary Weibull fit:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([41_000, 52_000, 60_000, 60_000], [True, True, False, False])
    >>> found = greatest_likelihood([lives], np.ones((1, 1)))
    >>> round(math.exp(found.center + found.beta[0])), round(found.shape, 2)
    (63791, 4.73)
    """
    if not _has_maximum(groups, design):
        return NotEstimable(reason="ONE_LINE_FITS_ALL")
    lives = _designed(groups, design)
    point = _start(lives)
    here = slopes(lives, point)
    first_shape = point[-1]
    for iteration in range(1, _MOST_STEPS + 1):
        step = _newton_step(here)
        promised = float(here.gradient @ step)
        settled = promised <= _SETTLED * lives.failure_count
        point, here = _advance(lives, point, step, here)
        if settled:
            return _described(lives, point, here, iteration)
        if point[-1] < _NO_SHAPE * first_shape:
            return NotEstimable(reason="SPREAD_WITHOUT_END")
    raise DidNotConvergeError("maximum of the likelihood", f"{_MOST_STEPS} Newton steps")


def slopes(lives: DesignedLives, point: FloatArray) -> Slopes:
    """
    Log-likelihood and its first two derivatives at a point (theta, b), b above 0.

    Far from the maximum the value may be -inf; nothing is raised.
    """
    value, size, b = 0.0, point.size, float(point[-1])
    gradient, curvature = np.zeros(size), np.zeros((size, size))
    with np.errstate(all="ignore"):
        for group, row in zip(lives.groups, lives.design, strict=True):
            # a = location / spread, counted from the group's own center.
            by_point = np.append(row, lives.center - group.center)
            found = derivatives(group, float(by_point @ point), b)
            value += found.value
            gradient += found.by_a * by_point
            gradient[-1] += found.by_b
            curvature -= found.by_aa * np.outer(by_point, by_point)
            curvature[-1] -= found.by_ab * by_point
            curvature[:, -1] -= found.by_ab * by_point
            curvature[-1, -1] -= found.by_bb
    return Slopes(value if math.isfinite(value) else -math.inf, gradient, curvature)


def _designed(groups: list[LifeRecords], design: FloatArray) -> DesignedLives:
    """Sort the lives of each group by kind."""
    sorted_groups = tuple(sort_lives(group, "WEIBULL") for group in groups)
    return DesignedLives(
        groups=sorted_groups,
        design=design,
        center=max(group.center for group in sorted_groups),
        failure_count=sum(group.failure_count for group in sorted_groups),
    )


def _start(lives: DesignedLives) -> FloatArray:
    """Mean log lives of the groups' failures put on a line, and a level that balances it."""
    means, weights = np.zeros(len(lives.groups)), np.zeros(len(lives.groups))
    for place, group in enumerate(lives.groups):
        middle = group.bracket_low + 0.5 * group.bracket_width
        weight = group.failure_count
        total = (
            group.exact_counts @ group.exact
            + group.failed_by_counts @ group.failed_by
            + group.bracket_counts @ middle
        )
        weights[place] = weight
        means[place] = group.center - lives.center + (total / weight if weight else 0.0)
    root = np.sqrt(weights)
    beta = np.linalg.lstsq(lives.design * root[:, None], means * root, rcond=None)[0]
    # Shape 1 is safe to start from: its likelihood falls off slowly on every side.
    constant = np.linalg.lstsq(lives.design, np.ones(len(lives.groups)), rcond=None)[0]
    totals, offsets = 0.0, lives.design @ beta
    for group, offset in zip(lives.groups, offsets.tolist(), strict=True):
        ends = np.concatenate((group.exact, group.unbroken, group.failed_by, group.bracket_low))
        counts = np.concatenate(
            (
                group.exact_counts,
                group.unbroken_counts,
                group.failed_by_counts,
                group.bracket_counts,
            )
        )
        totals += float(counts @ np.exp(ends + group.center - lives.center - offset))
    level = math.log(totals / lives.failure_count)
    return np.append(beta + level * constant, 1.0)


def _newton_step(here: Slopes) -> FloatArray:
    """Newton's step; a likelihood too flat to have a bend in every direction has none."""
    try:
        return np.asarray(np.linalg.solve(here.curvature, here.gradient), dtype=np.float64)
    except np.linalg.LinAlgError:
        raise DidNotConvergeError("maximum of the likelihood", "a curve without a bend") from None


def _advance(
    lives: DesignedLives, point: FloatArray, step: FloatArray, here: Slopes
) -> tuple[FloatArray, Slopes]:
    """Go along Newton's step as far as b stays above 0 and the likelihood rises."""
    share = 1.0
    if point[-1] + step[-1] < _LEAST_SHRINK * point[-1]:
        share = float((1.0 - _LEAST_SHRINK) * point[-1] / -step[-1])
    promised = float(here.gradient @ step)
    rounding = 1e-13 * (abs(here.value) + lives.failure_count)
    for _ in range(_MOST_HALVINGS):
        proposed = point + share * step
        there = slopes(lives, proposed)
        if there.value >= here.value + 1e-4 * share * promised - rounding:
            return proposed, there
        share *= 0.5
    raise DidNotConvergeError("maximum of the likelihood", f"{_MOST_HALVINGS} halved steps")


def _described(
    lives: DesignedLives, point: FloatArray, here: Slopes, iteration_count: int
) -> Maximum:
    """From (theta, b) to beta, shape and the covariance of (beta, ln spread)."""
    shape = float(point[-1])
    beta = point[:-1] / shape
    # d theta = b d beta - theta d ln(spread), d b = -b d ln(spread): at the maximum the
    # gradient is 0, so the information transforms by this matrix alone.
    change = np.diag(np.full(point.size, shape))
    change[:, -1] = -point
    inverse = np.linalg.inv(change)
    covariance = inverse @ np.linalg.inv(here.curvature) @ inverse.T
    return Maximum(
        center=lives.center,
        beta=beta,
        shape=shape,
        covariance=0.5 * (covariance + covariance.T),
        log_likelihood=here.value,
        iteration_count=iteration_count,
        score_size=float(np.abs(here.gradient).max()) / lives.failure_count,
    )


def _has_maximum(groups: list[LifeRecords], design: FloatArray) -> bool:
    """
    Whether no direction of (theta, b) keeps every term of the log-likelihood from falling.

    Along such a direction the residual of an exact failure stays, that of a unit that did
    not fail does not rise, and a bracket's ends do not move inwards.
    """
    ends = _ends(groups, design)
    exact = ends.low == ends.high
    fixed = _residual_rows(ends, ends.low, exact)
    size = design.shape[1] + 1
    if _rank(fixed) == size:
        return True
    seen_whole = ~exact & (ends.low > 0.0)
    seen_failed = ~exact & np.isfinite(ends.high)
    falling = np.vstack(
        (
            _residual_rows(ends, ends.low, seen_whole),
            -_residual_rows(ends, ends.high, seen_failed),
            np.append(np.zeros(size - 1), -1.0),  # b does not shrink
        )
    )
    return _rank(np.vstack((fixed, falling))) == size and _balance(fixed, falling)


class _Ends(NamedTuple):
    """Both ends of the lives of all groups, their covariates, and a log count near them."""

    low: FloatArray
    high: FloatArray
    design: FloatArray
    level: float


def _ends(groups: list[LifeRecords], design: FloatArray) -> _Ends:
    """Put the lives of all groups together."""
    low = np.concatenate([group.low_cycles for group in groups])
    high = np.concatenate([group.high_cycles for group in groups])
    return _Ends(
        low=low,
        high=high,
        design=np.repeat(design, [group.counts.size for group in groups], axis=0),
        level=math.log(float(np.where(low > 0.0, low, high).max())),
    )


def _residual_rows(ends: _Ends, cycles: FloatArray, chosen: BoolArray) -> FloatArray:
    """Derivatives of ``b * log life - design @ theta`` by (theta, b) at the chosen ends."""
    return np.column_stack((-ends.design[chosen], np.log(cycles[chosen]) - ends.level))


def _rank(rows: FloatArray) -> int:
    """Rank of rows; less than `_SAME` is nothing."""
    return int(np.linalg.matrix_rank(rows, tol=_SAME)) if rows.size else 0


def _balance(fixed: FloatArray, falling: FloatArray) -> bool:
    """
    Whether weights above 0 on the falling rows and any on the fixed ones cancel out.

    By Stiemke's theorem exactly then no direction lowers one of the falling rows and
    raises none (textbook fact, from memory).
    """
    # Weights are 1 + x, x >= 0: scaling them up is free, so "above 0" may read "at least 1".
    free = fixed.T
    found = linprog(
        np.zeros(falling.shape[0] + free.shape[1]),
        A_eq=np.hstack((falling.T, free)),
        b_eq=-falling.sum(axis=0),
        bounds=[(0.0, None)] * falling.shape[0] + [(None, None)] * free.shape[1],
        method="highs",
    )
    return bool(found.status == 0)
