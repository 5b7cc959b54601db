"""Evidence on a lot of known size, valid after every unit; no distribution of lives."""

import math

import numpy as np
from scipy import special

from analysis.checks import FloatArray, check_count, check_fraction
from analysis.statistics.anytime_counts import stops_by_evidence
from analysis.statistics.finite_lot import most_nonconforming
from schemas.anytime import PriorDensity
from schemas.test_plans import CountedStops

_MOST_UNITS = 10_000_000


def log_lot_evidence(
    failure_count: int,
    unit_count: int,
    *,
    lot_size: int,
    reliability: float,
    prior: PriorDensity,
) -> float:
    """
    Logarithm of the evidence that a lot of known size meets its requirement.

    Parameters
    ----------
    failure_count : int, 0 to `unit_count`
    unit_count : int, 0 to `lot_size`
        Units drawn at random that have passed the target or failed before it.
    lot_size : int, >= 1, keyword only
    reliability : float, fraction, keyword only
        Share of the lot that must survive the target.
    prior : PriorDensity, keyword only

    Returns
    -------
    float
        Infinity where more units have passed than a lot below the requirement has good
        ones; minus infinity where more have failed than a lot that meets it may have.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Notes
    -----
    A lot meets the requirement with up to K0 = floor(N (1 - R)) weak units. The weights on
    0..K0 are the beta-binomial ones of the density used for counts, so that a large lot
    gives the answer of an endless one. The reference is K0 + 1 weak units; with more, a
    failure is likelier and the evidence lower, so the promise holds for all of them.

    Examples
    --------
    A lot of 40 units of which 38 must survive: 38 passed units settle it.

    >>> from analysis.statistics.anytime_evidence import PRIORS
    >>> log_lot_evidence(0, 38, lot_size=40, reliability=0.95, prior=PRIORS["EVEN"])
    inf
    """
    size = check_count("lot_size", lot_size, least=1, most=_MOST_UNITS)
    units = check_count("unit_count", unit_count, least=0, most=size)
    count = check_count("failure_count", failure_count, least=0, most=units)
    allowed = 1.0 - check_fraction("reliability", reliability)
    most_weak = most_nonconforming(size, reliability)
    weak = np.arange(most_weak + 1, dtype=np.float64)
    log_weights = _log_weights(weak, size, allowed, prior)
    with np.errstate(invalid="ignore"):
        terms = log_weights + _log_ways(weak, size, units, count)
    seen = float(special.logsumexp(terms)) if terms.size else -math.inf
    reference = float(_log_ways(np.array([most_weak + 1.0]), size, units, count)[0])
    if seen == -math.inf:
        return -math.inf
    return math.inf if reference == -math.inf else seen - reference


def _log_weights(weak: FloatArray, size: int, allowed: float, prior: PriorDensity) -> FloatArray:
    other = 1.0 + prior.rate / allowed
    logs = (
        _log_choose(np.full_like(weak, size), weak)
        + special.betaln(prior.shape + weak, other + size - weak)
        - special.betaln(prior.shape, other)
    )
    normalised: FloatArray = logs - special.logsumexp(logs)
    return normalised


def _log_ways(weak: FloatArray, size: int, units: int, count: int) -> FloatArray:
    """Logarithm of the ways to find `count` among `units` drawn; -infinity: none."""
    failed = _log_choose(weak, np.full_like(weak, count))
    passed = _log_choose(size - weak, np.full_like(weak, units - count))
    ways: FloatArray = failed + passed
    return ways


def _log_choose(whole: FloatArray, part: FloatArray) -> FloatArray:
    possible = (part >= 0.0) & (part <= whole)
    kept = np.where(possible, part, 0.0)
    logs = (
        special.gammaln(whole + 1.0)
        - special.gammaln(kept + 1.0)
        - special.gammaln(whole - kept + 1.0)
    )
    return np.where(possible, logs, -np.inf)


def anytime_lot_stops(
    *,
    lot_size: int,
    reliability: float,
    confidence: float,
    prior: PriorDensity,
    most_units: int,
    most_failures: int,
) -> CountedStops:
    """
    Where a plan on a lot of known size ends that may be looked at after every unit.

    Parameters
    ----------
    lot_size : int, >= 1, keyword only
    reliability, confidence : float, fractions, keyword only
    prior : PriorDensity, keyword only
    most_units : int, 1 to `lot_size`, keyword only
        Cap on finished units.
    most_failures : int, >= 0, keyword only
        Failures that may be accepted at most.

    Returns
    -------
    CountedStops

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Examples
    --------
    >>> from analysis.statistics.anytime_evidence import PRIORS
    >>> plan = anytime_lot_stops(
    ...     lot_size=120,
    ...     reliability=0.95,
    ...     confidence=0.90,
    ...     prior=PRIORS["EVEN"],
    ...     most_units=60,
    ...     most_failures=0,
    ... )
    >>> plan.accept_at.index(0) + 1, plan.reject_at[0]
    (37, 1)
    """
    check_count("most_units", most_units, least=1, most=lot_size)

    def evidence(failures: int, units: int) -> float:
        return log_lot_evidence(
            failures, units, lot_size=lot_size, reliability=reliability, prior=prior
        )

    return stops_by_evidence(
        evidence, confidence=confidence, most_units=most_units, most_failures=most_failures
    )
