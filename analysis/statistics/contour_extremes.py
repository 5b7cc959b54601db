"""Smallest and largest values of many quantities on one likelihood contour.

Every quantity that limits are asked of (log hazard at a count, log life at a fraction, shape)
is linear in (a, b) or a ratio of two linear forms with b above 0. On the edge of a convex
region it has one smallest and one largest value, and between the two it only rises or only falls.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.checks import BoolArray, FloatArray
from analysis.errors import DidNotConvergeError
from analysis.statistics.likelihood_contour import (
    LAST_STEP,
    MOST_STEPS,
    Contour,
    depths_of,
    directions_of,
    longest_lengths,
    points_of,
    ray_lengths,
    relative_noise,
)
from analysis.statistics.likelihood_surface import slopes_at

_NARROWEST = 1e-12  # radians; a bracket of angles this narrow holds one point
_NEAR = 0.3  # Off the curve by less than this share of its depth, directions can be told.
_ON_CURVE = 1e-9  # relative to the depth
_MOST_NEWTON_STEPS = 12  # Most extremes take 4 to 6.


class Questions(NamedTuple):
    """
    Quantities ``by_a * a + by_b * b + constant``, divided by b where `over_b` says so.

    One of each per quantity. The log life at which the standard form reaches w is
    ``(a + w) / b``; the standard form reached at the log life y is ``b y - a``.
    """

    by_a: FloatArray
    by_b: FloatArray
    constant: FloatArray
    over_b: BoolArray

    def values(self, a: FloatArray, b: FloatArray) -> FloatArray:
        """At pairs that match the quantities one to one or by broadcasting."""
        numerator = self.by_a * a + self.by_b * b + self.constant
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            return np.where(self.over_b, numerator / b, numerator)

    def chosen(self, index: BoolArray | tuple[slice, None]) -> "Questions":
        """Some of the quantities, or all as a column."""
        return Questions(
            self.by_a[index], self.by_b[index], self.constant[index], self.over_b[index]
        )


def extremes(contour: Contour, questions: Questions) -> tuple[FloatArray, FloatArray]:
    """
    Smallest and largest value of each quantity on the contour.

    Parameters
    ----------
    contour : Contour
    questions : Questions
        All quantities at once; they share the points of the curve.

    Returns
    -------
    tuple of two arrays, one value per quantity
        -inf or inf where the quantity has no end on a curve that is not closed.

    Raises
    ------
    DidNotConvergeError
        If an extreme is not found; no data are known for which that happens.

    Notes
    -----
    From the best of the curve's points, Newton's method on the rise of the quantity along
    the curve, with the distance from the maximum corrected at the same time, inside a
    bracket of the neighbouring angles; where that takes long, halving the bracket.

    Examples
    --------
    Smallest and largest shape (b itself) that the likelihood of a lot still allows:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> from analysis.statistics.likelihood_contour import likelihood_contour
    >>> from analysis.statistics.likelihood_surface import likelihood_surface
    >>> from analysis.statistics.log_likelihood import sort_lives
    >>> lot = lives_with_run_outs([41_000, 52_000, *[60_000] * 10], [True, True, *[False] * 10])
    >>> surface = likelihood_surface(sort_lives(lot, "WEIBULL"), typical_spread=0.25)
    >>> contour = likelihood_contour(surface, (1.684001, 4.049648), depth=1.2816)
    >>> shape = Questions(np.zeros(1), np.ones(1), np.zeros(1), np.array([False]))
    >>> [each.round(2).tolist() for each in extremes(contour, shape)]
    [[1.43], [8.7]]
    """
    a, b = points_of(contour, contour.angles, contour.radii)
    values = questions.chosen((slice(None), None)).values(a, b)
    least = _refined(contour, questions, values, -1.0)
    most = _refined(contour, questions, values, 1.0)
    if contour.ends is None:
        return least, most
    return _with_ends(contour.ends, questions, least, most)


def _refined(contour: Contour, questions: Questions, values: FloatArray, side: float) -> FloatArray:
    """The extreme of each quantity, the largest where `side` is 1, the smallest where -1."""
    best = np.argmax(side * values, axis=1)
    low, angle, high, radius = _start(contour, side * values, best)
    closeness = max(_ON_CURVE, relative_noise(contour.surface, contour.peak_value, contour.depth))
    for _ in range(_MOST_NEWTON_STEPS):
        here = _at(contour, questions, angle, radius)
        on_curve, ahead = here.off <= closeness, side * here.rise > 0.0
        low = np.where(on_curve & ahead, angle, low)
        high = np.where(on_curve & ~ahead, angle, high)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.where(here.off <= _NEAR, -here.rise / here.turn, 0.0)
        inside = (low <= angle + step) & (angle + step <= high)
        step = np.where(inside, step, np.where(on_curve, 0.5 * (low + high) - angle, 0.0))
        settled = on_curve & ((np.abs(step) <= LAST_STEP) | (high - low <= _NARROWEST))
        angle = angle + step
        radius = _shortened(contour, angle, radius + here.radial + here.growth * step, radius)
        if settled.all():
            return questions.values(*points_of(contour, angle, radius))
    slow = ~settled
    found = questions.values(*points_of(contour, angle, radius))
    found[slow] = _bisected(contour, questions.chosen(slow), (low[slow], high[slow]), side)
    return found


def _bisected(
    contour: Contour, questions: Questions, bracket: tuple[FloatArray, FloatArray], side: float
) -> FloatArray:
    """The same by halving brackets of angles, where a curve bends too sharply for Newton."""
    low, high = bracket
    for _ in range(MOST_STEPS):
        angle = 0.5 * (low + high)
        radius = ray_lengths(
            contour.surface, contour.peak, directions_of(contour, angle), contour.depth
        )
        ahead = side * _at(contour, questions, angle, radius).rise > 0.0
        low, high = np.where(ahead, angle, low), np.where(ahead, high, angle)
        if bool((high - low <= _NARROWEST).all()):
            return questions.values(*points_of(contour, angle, radius))
    raise DidNotConvergeError("likelihood limit", f"{MOST_STEPS} halvings along the contour")


class _Place(NamedTuple):
    """What is known of each quantity at a point near the curve."""

    off: FloatArray  # how far the depth is from the curve's, relative
    radial: FloatArray  # change of radius that leads back to the curve
    rise: FloatArray  # of the quantity along the curve, up to a factor above 0
    turn: FloatArray  # change of that rise with the angle
    growth: FloatArray  # change of the radius with the angle


def _at(contour: Contour, questions: Questions, angle: FloatArray, radius: FloatArray) -> _Place:
    """Depth, rise of the quantity and their changes, at points given by angle and radius."""
    along_a, along_b = directions_of(contour, angle)
    across_a, across_b = directions_of(contour, angle + 0.5 * math.pi)
    a, b = contour.peak[0] + radius * along_a, contour.peak[1] + radius * along_b
    here = slopes_at(contour.surface, a, b)
    sunk = depths_of(contour.peak_value, here)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        slope = here.by_a * along_a + here.by_b * along_b
        growth = -radius * (here.by_a * across_a + here.by_b * across_b) / slope
        move_a, move_b = growth * along_a + radius * across_a, growth * along_b + radius * across_b
        # Slopes of the quantity, times b where it is a ratio: its sign is all that matters.
        by_a = questions.by_a
        by_b = questions.by_b - np.where(questions.over_b, questions.values(a, b), 0.0)
        turn = by_a * (here.by_ab * move_a + here.by_bb * move_b) - by_b * (
            here.by_aa * move_a + here.by_ab * move_b
        )
        return _Place(
            off=np.abs(sunk / contour.depth - 1.0),
            radial=(contour.depth - sunk) * sunk / -slope,
            rise=by_a * here.by_b - by_b * here.by_a,
            turn=turn,
            growth=growth,
        )


def _start(
    contour: Contour, values: FloatArray, best: NDArray[np.intp]
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Bracket of angles around the largest of `values`, and a first angle and radius in it."""
    count = contour.angles.size
    before, after = best - 1, best + 1
    if contour.ends is not None:
        before, after = np.maximum(before, 0), np.minimum(after, count - 1)
    rows = np.arange(best.size)
    left, middle, right = (values[rows, each % count] for each in (before, best, after))
    spacing = contour.angles[1] - contour.angles[0]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        share = 0.5 * (right - left) / (2.0 * middle - left - right)
    share = np.where(np.abs(share) < 1.0, share, 0.0)
    radii = contour.radii
    before_r, at_r, after_r = radii[before % count], radii[best], radii[after % count]
    radius = at_r + 0.5 * share * (after_r - before_r + share * (after_r - 2.0 * at_r + before_r))
    angle = contour.angles[best]
    low = angle - (best - before) * spacing
    high = angle + (after - best) * spacing
    return low, np.clip(angle + share * spacing, low, high), high, radius


def _with_ends(
    ends: tuple[float, float], questions: Questions, least: FloatArray, most: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Extremes where the curve runs into b = 0: values there, or none for a ratio."""
    at_ends = np.stack([questions.by_a * end + questions.constant for end in ends])
    low, high = at_ends.min(axis=0), at_ends.max(axis=0)
    over_b = questions.over_b
    least = np.where(over_b, np.where(low < 0.0, -math.inf, least), np.minimum(least, low))
    most = np.where(over_b, np.where(high > 0.0, math.inf, most), np.maximum(most, high))
    return least, most


def _shortened(
    contour: Contour, angle: FloatArray, radius: FloatArray, last: FloatArray
) -> FloatArray:
    """Keep a proposed radius above 0 and its b above 0."""
    longest = longest_lengths(contour.peak[1], directions_of(contour, angle)[1])
    # No radius (no number) where the point lies too far out for its slopes to be told.
    return np.minimum(np.where(radius > 0.0, radius, 0.5 * last), longest)
