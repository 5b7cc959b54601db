"""The closed curve on which a likelihood has dropped by a given depth.

In a = location / spread and b = 1 / spread the region inside the curve is convex, so each ray
from the maximum meets the curve once.
"""

import math

import numpy as np
from msgspec import Struct, structs

from analysis.checks import FloatArray
from analysis.errors import DidNotConvergeError
from analysis.statistics.likelihood_surface import Slopes, Surface, slopes_at

LAST_STEP = 1e-7
"""Newton doubles the digits: after a step this small 14 of them hold."""
MOST_STEPS = 100
"""Halving alone needs fewer."""

_RAYS = 64
_ALMOST_ALL = 1.0 - 1e-12  # of the way to b = 0: the curve never quite gets there.


class Contour(Struct, frozen=True, kw_only=True):
    """
    Curve of pairs (a, b) that are `depth`**2 / 2 below the maximum.

    `angles` and `radii` are its points as seen from the maximum in the coordinates in which
    the likelihood falls alike in all directions near it. A curve that ends at b = 0 (units
    looked at once each, shape not told from 0) is not closed: `ends` are its two values of
    a there, and the angles run from one end to the other.
    """

    surface: Surface
    peak: tuple[float, float]
    peak_value: float
    depth: float
    axes: tuple[float, float, float]  # lower triangle of the root of the covariance of (a, b)
    angles: FloatArray
    radii: FloatArray
    ends: tuple[float, float] | None


def likelihood_contour(surface: Surface, peak: tuple[float, float], depth: float) -> Contour:
    """
    Find the curve on which the log-likelihood is ``depth**2 / 2`` below its maximum.

    Parameters
    ----------
    surface : Surface
        The likelihood of a lot.
    peak : tuple of float
        a and b at its maximum.
    depth : float, > 0
        For the limits of one-sided confidence C: the normal quantile of C.

    Returns
    -------
    Contour
        64 points of the curve, closed unless the likelihood stays above the level down
        to b = 0.

    Raises
    ------
    DidNotConvergeError
        If a ray does not meet the curve; no data are known for which that happens.

    Examples
    --------
    >>> from analysis.statistics.life_fit import life_fit
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> from analysis.statistics.likelihood_surface import likelihood_surface
    >>> from analysis.statistics.log_likelihood import sort_lives
    >>> records = lives_with_run_outs([41_000, 52_000, *[60_000] * 10], [True, True, *[False] * 10])
    >>> fit, lives = life_fit(records, "WEIBULL"), sort_lives(records, "WEIBULL")
    >>> peak = ((fit.location - lives.center) / fit.spread, 1 / fit.spread)
    >>> surface = likelihood_surface(lives, typical_spread=fit.spread)
    >>> contour = likelihood_contour(surface, peak, depth=1.2816)
    >>> len(contour.radii), contour.ends is None
    (64, True)
    """
    top = slopes_at(surface, np.array([peak[0]]), np.array([peak[1]]))
    contour = Contour(
        surface=surface,
        peak=peak,
        peak_value=float(top.value[0]),
        depth=depth,
        axes=_axes(top),
        angles=np.arange(_RAYS, dtype=np.float64) * (2.0 * math.pi / _RAYS),
        radii=np.empty(0),
        ends=_ends(surface, float(top.value[0]) - 0.5 * depth * depth),
    )
    angles = contour.angles if contour.ends is None else _between_ends(contour, contour.ends)
    by_angle_a, by_angle_b = directions_of(contour, angles)
    radii = ray_lengths(surface, peak, (by_angle_a, by_angle_b), depth)
    return structs.replace(contour, angles=angles, radii=radii)


def ray_lengths(
    surface: Surface,
    start: tuple[float, float],
    directions: tuple[FloatArray, FloatArray],
    depth: float,
) -> FloatArray:
    """
    How far each direction (a, b) leads from `start` until the value is depth**2 / 2 lower.

    `start` is the maximum along every direction. A ray that comes to b = 0 first ends there.

    Notes
    -----
    Newton's method on the root of twice the drop, which is close to a straight line in the
    distance, inside a bracket.
    """
    top = float(slopes_at(surface, np.array([start[0]]), np.array([start[1]])).value[0])
    by_a, by_b = directions
    last_step = max(LAST_STEP, relative_noise(surface, top, depth))
    longest = longest_lengths(start[1], by_b)
    low, high = np.zeros(by_a.size), longest
    length = np.minimum(np.full(by_a.size, depth), 0.5 * longest)
    for _ in range(MOST_STEPS):
        here = slopes_at(surface, start[0] + length * by_a, start[1] + length * by_b)
        sunk = depths_of(top, here)
        is_short = sunk < depth
        low, high = np.where(is_short, length, low), np.where(is_short, high, length)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            fall = -(here.by_a * by_a + here.by_b * by_b)
            step = (depth - sunk) * sunk / fall
        proposed = length + step
        is_last = np.abs(step) <= last_step * length
        inside = ((low < proposed) & (proposed < high)) | is_last
        middle = np.where(np.isinf(high), 2.0 * low, 0.5 * (low + high))
        length = np.where(inside, proposed, middle)
        if bool((is_last | (high - low <= 1e-15 * low)).all()):
            return np.minimum(length, longest)
    raise DidNotConvergeError("likelihood contour", f"{MOST_STEPS} steps along each ray")


def longest_lengths(start_b: float, by_b: FloatArray) -> FloatArray:
    """How far directions lead from `start_b` until b is all but 0; inf where it does not fall."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(by_b < 0.0, _ALMOST_ALL * start_b / -by_b, math.inf)


def _ends(surface: Surface, level: float) -> tuple[float, float] | None:
    """Both values of a at which the likelihood at b = 0 is at `level`; None if all are below."""
    if not surface.is_finite_without_shape:
        return None
    top = _climb_without_shape(surface)
    value = float(slopes_at(surface, np.array([top]), np.zeros(1)).value[0])
    if value <= level:
        return None
    depth = math.sqrt(2.0 * (value - level))
    lengths = ray_lengths(surface, (top, 0.0), (np.array([-1.0, 1.0]), np.zeros(2)), depth)
    return top - float(lengths[0]), top + float(lengths[1])


def _climb_without_shape(surface: Surface) -> float:
    """The a of greatest likelihood at b = 0, by bisection on its falling slope."""
    low, high = -50.0, 50.0
    while high - low > 1e-14 * max(1.0, abs(low)):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if slopes_at(surface, np.array([middle]), np.zeros(1)).by_a[0] > 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _between_ends(contour: Contour, ends: tuple[float, float]) -> FloatArray:
    """Angles from the end with the larger a round through b above 0 to the other one."""
    first, last = (_angle_of(contour, end, 0.0) for end in (ends[1], ends[0]))
    if last < first:
        last += 2.0 * math.pi
    return np.linspace(first, last, _RAYS)


def _angle_of(contour: Contour, a: float, b: float) -> float:
    """Direction in which a pair lies from the maximum."""
    root_a, mixed, root_b = contour.axes
    x = (a - contour.peak[0]) / root_a
    return math.atan2((b - contour.peak[1] - mixed * x) / root_b, x)


def _axes(top: Slopes) -> tuple[float, float, float]:
    """Lower triangular root of the covariance of (a, b), the inverse of the information."""
    of_a, of_both, of_b = -float(top.by_aa[0]), -float(top.by_ab[0]), -float(top.by_bb[0])
    determinant = of_a * of_b - of_both * of_both
    if not (of_b > 0.0 and determinant > 0.0):
        raise DidNotConvergeError("likelihood contour", "curvature at the maximum")
    root_a = math.sqrt(of_b / determinant)
    return root_a, -of_both / (determinant * root_a), 1.0 / math.sqrt(of_b)


def directions_of(contour: Contour, angle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Change of a and b per radius in each direction."""
    root_a, mixed, root_b = contour.axes
    cosine = np.cos(angle)
    return root_a * cosine, mixed * cosine + root_b * np.sin(angle)


def points_of(
    contour: Contour, angle: FloatArray, radius: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """a and b of points given by angle and radius."""
    by_a, by_b = directions_of(contour, angle)
    return contour.peak[0] + radius * by_a, contour.peak[1] + radius * by_b


def relative_noise(surface: Surface, top: float, depth: float) -> float:
    """Rounding error of a drop of depth**2 / 2 below `top`, relative to that drop."""
    return (surface.rounding + 1e-15 * abs(top)) / (depth * depth)


def depths_of(top: float, here: Slopes) -> FloatArray:
    """Root of twice the drop below the maximum; inf where the value is no number."""
    drop = np.where(np.isnan(here.value), math.inf, top - here.value)
    return np.sqrt(2.0 * np.maximum(drop, 0.0))
