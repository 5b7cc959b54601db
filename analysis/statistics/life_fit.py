"""Life distribution of greatest likelihood from exact, unbroken and bracketed lives."""

import math
from typing import NamedTuple

import numpy as np
from scipy import special

from analysis.checks import FloatArray
from analysis.errors import DidNotConvergeError
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.log_likelihood import Derivatives, SortedLives, derivatives, sort_lives
from analysis.statistics.standard_forms import ExtremeValue
from analysis.statistics.weibull_equation import scale_lives, solve_shape
from schemas.estimates import NotEstimable
from schemas.fits import Distribution, FitCovariance, LifeFit

_LAST_STEP = 1e-8  # Newton doubles the digits: after a step this small 15 of them hold.
_MOST_STEPS = 200  # Most fits take 5 to 10.
_LEAST_SHRINK = 0.2  # 1 / spread must stay above 0: no step may shrink it further at once.
_LOG_LARGEST = 709.0  # e**709 is close to the largest number a double holds.
_STATIONARY = 1e-6  # Largest gradient per failure of an answer, location in spreads.
_ROUNDING = 1e-13


class _Place(NamedTuple):
    """Where the climb stands: a = location / spread, b = 1 / spread, and the slopes there."""

    a: float
    b: float
    here: Derivatives
    iteration_count: int


def life_fit(records: LifeRecords, distribution: Distribution) -> LifeFit | NotEstimable:
    """
    Location and spread of log life that make the observed lives most likely.

    Parameters
    ----------
    records : LifeRecords
        Lives of a lot, exact, unbroken or bracketed. Cycles.
    distribution : {"WEIBULL", "LOGNORMAL", "EXPONENTIAL"}
        Form of the life distribution; EXPONENTIAL is a Weibull of shape 1.

    Returns
    -------
    LifeFit or NotEstimable
        The fit with its covariance; or the reason why the likelihood has no maximum:
        ``NO_FAILURES``, ``FAILURES_ONLY_AT_LONGEST_LIFE``, ``ONE_COUNT_FITS_ALL``,
        ``SPREAD_WITHOUT_END``, ``NONE_SEEN_WHOLE``, ``SCALE_NOT_REPRESENTABLE``.

    Raises
    ------
    DidNotConvergeError
        If the climb does not end at a point without slope; no data are known for
        which it does not.

    Notes
    -----
    In a = location / spread and b = 1 / spread the log-likelihood of every kind of life
    is concave for both forms (log-concave densities), so Newton's direction with step
    halving climbs to the only maximum. Weibull lives without brackets go by the equation
    of the shape alone (`weibull_fit`). A maximum exists exactly when no single count lies
    within all lives (the largest low end is above the smallest high end), unless every
    life was looked at only once: then the failed ones must also tend to be those looked at
    later. (Conditions derived here from the directions in which the likelihood does not
    fall.) The covariance is the inverse of the observed information of (location, ln
    spread).

    References
    ----------
    .. [1] J. Burridge, "A note on maximum likelihood estimation for regression models
           using grouped data", Journal of the Royal Statistical Society B 43, 41-45, 1981.
           (Concavity; citation from memory.)

    Examples
    --------
    Two units found failed at inspections, one failed on the rig, six stopped unbroken:

    >>> from analysis.statistics.life_records import life_records
    >>> whole = float("inf")
    >>> records = life_records(
    ...     [30_000, 40_000, 52_000, 60_000], [40_000, 50_000, 52_000, whole], counts=[1, 1, 1, 6]
    ... )
    >>> fit = life_fit(records, "WEIBULL")
    >>> round(fit.scale_cycles), round(fit.shape, 2)
    (76448, 3.58)

    Brackets are used as they are; nobody has to guess a count inside them.
    """
    lives = sort_lives(records, distribution)
    reason = why_no_maximum(records, lives, distribution)
    if reason is not None:
        return NotEstimable(reason=reason)
    if distribution == "EXPONENTIAL":
        place = _climb_location(lives)
    elif distribution == "WEIBULL" and not records.has_brackets:
        place = _by_shape_equation(records, lives)
    else:
        place = _climb(lives)
    if abs(lives.center + place.a / place.b) > _LOG_LARGEST:
        return NotEstimable(reason="SCALE_NOT_REPRESENTABLE")
    return _fit_at(place, lives, records, distribution)


def why_no_maximum(
    records: LifeRecords, lives: SortedLives, distribution: Distribution
) -> str | None:
    """
    Reason why the likelihood of these lives has no maximum, None where it has one.

    Parameters are those of `life_fit`; `lives` are the same records as `sort_lives` gives.
    """
    if records.failure_count == 0:
        return "NO_FAILURES"
    largest_low = float(records.low_cycles.max())
    if distribution == "EXPONENTIAL":
        return "NONE_SEEN_WHOLE" if largest_low == 0.0 else None
    if largest_low <= float(records.high_cycles.min()):
        return "ONE_COUNT_FITS_ALL" if records.has_brackets else "FAILURES_ONLY_AT_LONGEST_LIFE"
    looked_at_once = not lives.exact.size and not lives.bracket_low.size
    return "SPREAD_WITHOUT_END" if looked_at_once and not _later_fails_more(lives) else None


def _later_fails_more(lives: SortedLives) -> bool:
    """
    Whether units looked at later failed more often, when each was looked at once.

    At 1 / spread = 0 every count has the same chance p of failure; the likelihood must
    rise from there.
    """
    failed, whole = float(lives.failed_by_counts.sum()), float(lives.unbroken_counts.sum())
    share = failed / (failed + whole)
    is_weibull = lives.form is ExtremeValue
    z = math.log(-math.log1p(-share)) if is_weibull else float(special.ndtri(share))
    at = np.array([z])
    up = float(lives.form.failed_by(at).first[0] * (lives.failed_by_counts @ lives.failed_by))
    down = float(lives.form.survival(at).first[0] * (lives.unbroken_counts @ lives.unbroken))
    return up + down > _ROUNDING * (abs(up) + abs(down))


def _by_shape_equation(records: LifeRecords, lives: SortedLives) -> _Place:
    """Weibull lives without brackets: one equation for the shape gives the maximum."""
    failed = np.isfinite(records.high_cycles)
    scaled = scale_lives(records.low_cycles, failed, records.counts)
    root = solve_shape(scaled)
    a = math.log(root.total / scaled.failure_count)  # (t / scale)**shape adds up to the failures
    return _Place(a, root.shape, derivatives(lives, a, root.shape), root.iteration_count)


def _climb(lives: SortedLives) -> _Place:
    """Newton's method with step halving in (a, b)."""
    a, b = _start(lives)
    here = derivatives(lives, a, b)
    for iteration in range(1, _MOST_STEPS + 1):
        step_a, step_b = _newton_step(here)
        share = 1.0
        if b + step_b < _LEAST_SHRINK * b:
            share = (1.0 - _LEAST_SHRINK) * b / -step_b
        is_last = share == 1.0 and max(abs(step_a) / (1.0 + abs(a)), abs(step_b) / b) <= _LAST_STEP
        slack = 1e-13 * abs(here.value)
        there = derivatives(lives, a + share * step_a, b + share * step_b)
        while not is_last and not there.value >= here.value - slack and share > 1e-12:
            share *= 0.5
            there = derivatives(lives, a + share * step_a, b + share * step_b)
        a, b, here = a + share * step_a, b + share * step_b, there
        if is_last:
            return _Place(a, b, here, iteration)
    raise DidNotConvergeError("life distribution", f"{_MOST_STEPS} steps of Newton's method")


def _climb_location(lives: SortedLives) -> _Place:
    """The same for a spread of 1: only a moves."""
    a = _start_location(lives, 1.0)
    here = derivatives(lives, a, 1.0)
    for iteration in range(1, _MOST_STEPS + 1):
        step = -here.by_a / here.by_aa
        # From below the maximum a Newton step may overshoot; from above it falls short.
        step = min(max(step, -2.0), 2.0)
        a += step
        here = derivatives(lives, a, 1.0)
        if abs(step) <= _LAST_STEP * (1.0 + abs(a)):
            return _Place(a, 1.0, here, iteration)
    raise DidNotConvergeError("exponential life", f"{_MOST_STEPS} steps of Newton's method")


def _start(lives: SortedLives) -> tuple[float, float]:
    """Place with the deviation of the log lives, brackets taken at their middle."""
    y, counts = _middles(lives)
    mean = float(counts @ y) / float(counts.sum())
    deviation = math.sqrt(float(counts @ (y - mean) ** 2) / float(counts.sum()))
    b = 1.0 / max(deviation, 1e-6)
    return _start_location(lives, b), b


def _start_location(lives: SortedLives, b: float) -> float:
    """Best a of a Weibull if brackets were at their middle: no z is far above 0 there."""
    y, counts = _middles(lives)
    longest = float(y.max())
    total = float(counts @ np.exp(b * (y - longest)))
    return b * longest + math.log(total / lives.failure_count)


def _middles(lives: SortedLives) -> tuple[FloatArray, FloatArray]:
    """Log lives and their counts, brackets at their middle."""
    middles = lives.bracket_low + 0.5 * lives.bracket_width
    return (
        np.concatenate([lives.exact, lives.unbroken, lives.failed_by, middles]),
        np.concatenate(
            [
                lives.exact_counts,
                lives.unbroken_counts,
                lives.failed_by_counts,
                lives.bracket_counts,
            ]
        ),
    )


def _newton_step(here: Derivatives) -> tuple[float, float]:
    """Newton's step, damped where the curve is too flat to tell its bend."""
    damping = 0.0
    if not math.isfinite(here.by_aa + here.by_bb):
        raise DidNotConvergeError("life distribution", "a step to where the likelihood vanishes")
    while True:
        by_aa, by_bb = here.by_aa - damping, here.by_bb - damping
        determinant = by_aa * by_bb - here.by_ab * here.by_ab
        if by_aa < 0.0 and determinant > 1e-14 * by_aa * by_bb:
            break
        damping = max(2.0 * damping, 1e-8 * (1.0 + abs(here.by_aa) + abs(here.by_bb)))
    step_a = (here.by_ab * here.by_b - by_bb * here.by_a) / determinant
    step_b = (here.by_ab * here.by_a - by_aa * here.by_b) / determinant
    return step_a, step_b


def _fit_at(
    place: _Place, lives: SortedLives, records: LifeRecords, distribution: Distribution
) -> LifeFit:
    """The fit at the end of the climb, once its slope is seen to be 0."""
    a, b, here = place.a, place.b, place.here
    by_log_spread = 0.0 if distribution == "EXPONENTIAL" else -(a * here.by_a + b * here.by_b)
    score_size = max(abs(here.by_a), abs(by_log_spread)) / lives.failure_count
    if not score_size <= _STATIONARY:
        raise DidNotConvergeError("life distribution", f"slope {score_size:.1e} per failure")
    covariance = _covariance(place, distribution)
    return LifeFit(
        distribution=distribution,
        location=lives.center + a / b,
        spread=1.0 / b,
        log_likelihood=here.value,
        covariance=covariance,
        unit_count=records.unit_count,
        failure_count=records.failure_count,
        iteration_count=place.iteration_count,
        score_size=score_size,
    )


def _covariance(place: _Place, distribution: Distribution) -> FitCovariance:
    """Inverse of the observed information of (location, ln spread) where the slopes are 0."""
    a, b, here = place.a, place.b, place.here
    of_location = -here.by_aa * b * b
    if not of_location > 0.0:
        raise DidNotConvergeError("life distribution", "a place that is no maximum")
    if distribution == "EXPONENTIAL":
        return FitCovariance(
            location_variance=1.0 / of_location, log_spread_variance=0.0, covariance=0.0
        )
    of_both = (here.by_aa * a + here.by_ab * b) * b
    of_log_spread = -(here.by_aa * a * a + 2.0 * here.by_ab * a * b + here.by_bb * b * b)
    determinant = of_location * of_log_spread - of_both * of_both
    if not determinant > 0.0:
        raise DidNotConvergeError("life distribution", "a place that is no maximum")
    return FitCovariance(
        location_variance=of_log_spread / determinant,
        log_spread_variance=of_location / determinant,
        covariance=-of_both / determinant,
    )
