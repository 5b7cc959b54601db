"""
Weibayes without a fixed shape: a prior of the shape, integrated out by quadrature.

The answers for the shape fixed at the ends and the centre of the prior stand beside it.
There is no prior by default.
"""

import math

import numpy as np
from msgspec import Struct
from scipy import optimize, special

from analysis.checks import FloatArray, check_fraction, check_positive
from analysis.errors import DidNotConvergeError, OutsideDomainError
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.weibayes import reliability_lower_from_target_lives
from schemas.estimates import NotEstimable
from schemas.priors import FixedShapeLimit, ShapePrior, ShapePriorLimit

_NODES, _NODE_WEIGHTS = special.roots_legendre(32)
_FEWEST_PANELS, _MOST_PANELS = 2, 128
_AGREEMENT = 1e-10  # Two subdivisions agree this well, relatively, or a finer one is tried.
_NEGLIGIBLE = 60.0  # Densities e^-60 below the peak add nothing that a double could hold.
_PRIOR_REACH = 40.0  # Deviations within which the lives can move a lognormal prior.
_SEARCH_POINTS, _SEARCH_ROUNDS = 65, 4
_MOST_TERMS = 1_000_000  # Numbers held at a time: lives times shapes.
_LARGEST_LOG = 700.0


class _Mixture(Struct, frozen=True, kw_only=True):
    """Shapes with their posterior weights, and ln of the target lives at each of them."""

    shapes: FloatArray
    weights: FloatArray
    log_target_lives: FloatArray
    steps: int

    def probability_below(self, log_rate: float) -> float:
        """Probability that failures per target life are below a rate."""
        with np.errstate(under="ignore"):
            expected = np.exp(np.minimum(self.log_target_lives + log_rate, _LARGEST_LOG))
        return float(self.weights @ special.gammainc(self.steps, expected))

    def log_rate_at(self, probability: float) -> float:
        """Logarithm of the rate below which the true one lies with a probability."""
        each = math.log(float(special.gammaincinv(self.steps, probability))) - self.log_target_lives
        least, most = float(each.min()), float(each.max())
        if most - least <= 1e-14 * max(1.0, abs(most)):
            return most
        return float(
            optimize.brentq(
                lambda log_rate: self.probability_below(log_rate) - probability,
                least - 1e-9,
                most + 1e-9,
                xtol=1e-14,
                rtol=1e-14,
            )
        )


def uniform_shape_prior(shape_low: float, shape_high: float) -> ShapePrior:
    """
    Belief that a Weibull shape lies in a range, all shapes in it alike.

    Parameters
    ----------
    shape_low, shape_high : float, finite, 0 < shape_low <= shape_high
        Ends of the range; equal ends fix the shape.

    Returns
    -------
    ShapePrior

    Raises
    ------
    OutsideDomainError
        If an end is outside its range or order.

    Examples
    --------
    >>> uniform_shape_prior(1.5, 3.0).form
    'UNIFORM'
    """
    _check_ends(shape_low, shape_high)
    return ShapePrior(
        form="UNIFORM", shape_low=shape_low, shape_high=shape_high, probability_within=1.0
    )


def lognormal_shape_prior(
    shape_low: float, shape_high: float, *, probability_within: float
) -> ShapePrior:
    """
    Belief that a Weibull shape lies around a range, without a hard end.

    Parameters
    ----------
    shape_low, shape_high : float, finite, 0 < shape_low < shape_high
        Two shapes; the centre of the belief is their geometric mean.
    probability_within : float, 0 < probability_within < 1, keyword only
        Probability held that the shape lies between them; half of the rest lies below.

    Returns
    -------
    ShapePrior

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range or order, or the belief is so wide that it
        says nothing (a deviation of ln shape above 10).

    Examples
    --------
    >>> lognormal_shape_prior(1.5, 3.0, probability_within=0.9).form
    'LOGNORMAL'
    """
    _check_ends(shape_low, shape_high)
    check_fraction("probability_within", probability_within)
    if shape_low == shape_high:
        raise OutsideDomainError("shape_high", shape_high, f"above shape_low ({shape_low!r})")
    prior = ShapePrior(
        form="LOGNORMAL",
        shape_low=shape_low,
        shape_high=shape_high,
        probability_within=probability_within,
    )
    if _log_deviation(prior) > 10.0:
        raise OutsideDomainError("probability_within", probability_within, "larger for this range")
    return prior


def reliability_with_shape_prior(
    records: LifeRecords,
    target_cycles: float,
    *,
    shape_prior: ShapePrior,
    reliability: float,
    probability: float,
) -> ShapePriorLimit | NotEstimable:
    """
    Reliability at the target when the Weibull shape is known up to a prior only.

    Parameters
    ----------
    records : LifeRecords
        Lives of the lot: failures at a known count, and units that did not fail.
    target_cycles : float, finite, > 0
        The target life. Cycles.
    shape_prior : ShapePrior, keyword only
        Belief about the shape from earlier evidence, not from this lot.
    reliability : float, 0 < reliability < 1, keyword only
        Reliability at the target that is claimed. No unit.
    probability : float, 0 < probability < 1, keyword only
        Probability with which the credible lower limit is to hold. No unit.

    Returns
    -------
    ShapePriorLimit or NotEstimable
        Not estimable if no unit has run (``NOTHING_HAS_RUN``), if a failure is known only
        between two counts (``BRACKETED_LIVES``), or if all lives are so short of
        the target that the endless tail of a lognormal prior alone would decide
        (``SHAPE_WITHOUT_END``; a uniform prior has an end).

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.
    DidNotConvergeError
        If 128 panels of 32 points do not settle the integral, or the lives contradict a
        lognormal prior by some 40 of its deviations.

    Notes
    -----
    With x = life / target, S(shape) the sum of ``x**shape`` over all units and the rate
    ``-ln R`` at the target, the prior of the rate is flat: at a fixed shape the posterior is
    then Gamma(r + 1, S) and the credible limit is Weibayes' conservative chi-square limit with
    2 r + 2 degrees of freedom, number for number. The shape's posterior is ``prior *
    shape**r * (product of failed x)**shape / S**(r + 1)``. Elementary integration over
    the rate; the integral over the shape is composite Gauss-Legendre, its panels doubled
    until the answers agree to 1e-10. Without failures weight moves to the shapes at which
    the lives are worth least: low ones beyond the target, high ones short of it.

    Examples
    --------
    Seven units that ran 1.7 targets each, shape somewhere between 1.5 and 3:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> records = lives_with_run_outs([170_000] * 7, [False] * 7)
    >>> answer = reliability_with_shape_prior(
    ...     records, 100_000, shape_prior=uniform_shape_prior(1.5, 3.0),
    ...     reliability=0.90, probability=0.90,
    ... )
    >>> round(answer.reliability_credible_lower, 4)
    0.8971
    >>> [round(each.classical_reliability_lower, 4) for each in answer.fixed_shapes]
    [0.8621, 0.9051, 0.9352]

    A shape fixed at the centre of the range would have passed; the prior does not.
    """
    target = check_positive("target_cycles", target_cycles)
    check_fraction("reliability", reliability)
    check_fraction("probability", probability)
    if records.has_brackets:
        return NotEstimable(reason="BRACKETED_LIVES")
    if not records.unit_count:
        return NotEstimable(reason="NOTHING_HAS_RUN")
    if shape_prior.form == "LOGNORMAL" and _large_shapes_decide(records, target):
        return NotEstimable(reason="SHAPE_WITHOUT_END")
    log_rate = math.log(-math.log(reliability))
    mixture = _converged(records, target, shape_prior, log_rate, probability)
    log_limit = mixture.log_rate_at(probability)
    ends = (shape_prior.shape_low, _centre(shape_prior), shape_prior.shape_high)
    low, centre, high = (
        _fixed_shape(records, target, shape, log_rate, probability) for shape in ends
    )
    return ShapePriorLimit(
        shape_prior=shape_prior,
        reliability_credible_lower=math.exp(-math.exp(min(log_limit, _LARGEST_LOG))),
        probability_at_least=mixture.probability_below(log_rate),
        posterior_shape_mean=float(mixture.weights @ mixture.shapes),
        fixed_shapes=(low, centre, high),
        unit_count=records.unit_count,
        failure_count=records.failure_count,
        target_cycles=target,
        reliability=reliability,
        probability=probability,
    )


def _check_ends(shape_low: float, shape_high: float) -> None:
    check_positive("shape_low", shape_low)
    check_positive("shape_high", shape_high)
    if shape_low > shape_high:
        raise OutsideDomainError("shape_high", shape_high, f"shape_low ({shape_low!r}) or more")


def _log_deviation(prior: ShapePrior) -> float:
    """Standard deviation of ln shape under a lognormal prior."""
    quantile = float(special.ndtri(0.5 * (1.0 + prior.probability_within)))
    return 0.5 * math.log(prior.shape_high / prior.shape_low) / quantile


def _centre(prior: ShapePrior) -> float:
    if prior.form == "UNIFORM":
        return 0.5 * (prior.shape_low + prior.shape_high)
    return math.sqrt(prior.shape_low * prior.shape_high)


def _large_shapes_decide(records: LifeRecords, target: float) -> bool:
    """Whether likelihood grows exponentially with the shape: no lognormal tail holds that."""
    log_longest = float(np.log(records.low_cycles.max() / target))
    failed = np.isfinite(records.high_cycles)
    log_failed = np.log(records.low_cycles[failed] / target) - log_longest
    return float(records.counts[failed] @ log_failed) > log_longest


def _fixed_shape(
    records: LifeRecords, target: float, shape: float, log_rate: float, probability: float
) -> FixedShapeLimit:
    log_lives = float(_log_target_lives(records, target, np.array([shape]))[0])
    lives = math.exp(min(log_lives, _LARGEST_LOG))
    failures = records.failure_count
    expected = math.exp(min(log_lives + log_rate, _LARGEST_LOG))
    return FixedShapeLimit(
        shape=shape,
        target_lives=lives,
        classical_reliability_lower=reliability_lower_from_target_lives(
            lives, failures, confidence=probability
        ),
        classical_confidence=float(special.gammainc(failures + 1, expected)),
    )


def _log_target_lives(records: LifeRecords, target: float, shapes: FloatArray) -> FloatArray:
    """Logarithm of the sum of target lives at each shape, free of overflow."""
    log_ratios = np.log(records.low_cycles / target)
    block = max(1, _MOST_TERMS // log_ratios.size)
    parts = [
        special.logsumexp(np.outer(shapes[i : i + block], log_ratios), b=records.counts, axis=1)
        for i in range(0, shapes.size, block)
    ]
    return np.concatenate(parts)


class _Posterior(Struct, frozen=True, kw_only=True):
    """Density of the shape after the lives; the place is the shape or its logarithm."""

    records: LifeRecords
    target: float
    prior: ShapePrior

    def shapes(self, places: FloatArray) -> FloatArray:
        return places if self.prior.form == "UNIFORM" else np.exp(places)

    def ends(self) -> tuple[float, float]:
        """Places between which the prior has any weight worth mention."""
        low, high = self.prior.shape_low, self.prior.shape_high
        if self.prior.form == "UNIFORM":
            return low, high
        reach = _PRIOR_REACH * _log_deviation(self.prior)
        return math.log(_centre(self.prior)) - reach, math.log(_centre(self.prior)) + reach

    def log_density(self, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Logarithm of the density, without its constant, and of the target lives."""
        shapes = self.shapes(places)
        log_lives = _log_target_lives(self.records, self.target, shapes)
        failed = np.isfinite(self.records.high_cycles)
        log_failed = np.log(self.records.low_cycles[failed] / self.target)
        failures = self.records.failure_count
        density = failures * np.log(shapes) - (failures + 1.0) * log_lives
        density += shapes * float(self.records.counts[failed] @ log_failed)
        if self.prior.form == "LOGNORMAL":
            centre = math.log(_centre(self.prior))
            density -= 0.5 * ((places - centre) / _log_deviation(self.prior)) ** 2
        return density, log_lives

    def range_that_matters(self) -> tuple[float, float]:
        """Narrowed ends, outside of which the density is negligible."""
        least, most = low, high = self.ends()
        for _ in range(_SEARCH_ROUNDS):
            places = np.linspace(low, high, _SEARCH_POINTS)
            density, _ = self.log_density(places)
            matters = np.flatnonzero(density >= density.max() - _NEGLIGIBLE)
            first, last = max(0, int(matters[0]) - 1), min(places.size - 1, int(matters[-1]) + 1)
            low, high = float(places[first]), float(places[last])
        if self.prior.form == "LOGNORMAL" and (low == least or high == most):
            raise DidNotConvergeError(
                "shape that both the prior and the lives allow",
                f"{_PRIOR_REACH:.0f} deviations of ln shape around the prior's centre",
            )
        return low, high

    def mixture(self, low: float, high: float, panels: int) -> _Mixture:
        """Posterior at the points of a composite Gauss-Legendre rule."""
        half = 0.5 * (high - low) / panels
        middles = low + half * (2.0 * np.arange(panels) + 1.0)
        places = (middles[:, None] + half * _NODES).ravel()
        density, log_lives = self.log_density(places)
        weights = np.exp(density - density.max()) * np.tile(_NODE_WEIGHTS, panels)
        return _Mixture(
            shapes=self.shapes(places),
            weights=weights / weights.sum(),
            log_target_lives=log_lives,
            steps=self.records.failure_count + 1,
        )


def _converged(
    records: LifeRecords, target: float, prior: ShapePrior, log_rate: float, probability: float
) -> _Mixture:
    """Mixture fine enough that half its panels give the same answers."""
    posterior = _Posterior(records=records, target=target, prior=prior)
    low, high = posterior.range_that_matters()
    panels, before = _FEWEST_PANELS, np.full(3, np.nan)
    while panels <= _MOST_PANELS:
        mixture = posterior.mixture(low, high, panels)
        answers = np.array(
            [
                mixture.log_rate_at(probability),
                mixture.probability_below(log_rate),
                float(mixture.weights @ mixture.shapes),
            ]
        )
        if np.all(np.abs(answers - before) <= _AGREEMENT * np.maximum(1.0, np.abs(answers))):
            return mixture
        panels, before = 2 * panels, answers
    raise DidNotConvergeError("integral over the shape", f"{_MOST_PANELS} panels of 32 points")
