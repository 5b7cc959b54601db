"""
Tests by counting with a beta prior of the reliability.

The prior is an argument of every function; there is none by default. What rests on it is
called credible and carries a probability; the classical result of the same test, which
carries a confidence, stands beside it in every answer.
"""

import math

import numpy as np
from scipy import optimize, special

from analysis.checks import check_count, check_fraction, check_not_negative, check_positive
from analysis.errors import OutsideDomainError
from analysis.statistics.bounds import reliability_lower
from analysis.statistics.rounding import risk_limit
from analysis.statistics.success_run import confidence_shown, units_required
from schemas.priors import BetaPrior, PassingChance, SuccessRunPlanWithPrior, SuccessRunPosterior

_LEAST_CHANCE = 1e-300  # Below it a chance is no number that a logarithm could be taken of.
_MOST_UNITS = 10_000_000  # The sum holds a number per allowed failure in memory.
_STIRLING_FROM = 40  # From here on three terms of Stirling's series leave less than 1e-14.


def beta_prior(success_weight: float, failure_weight: float) -> BetaPrior:
    """
    Belief about a reliability, given by the two parameters of a beta distribution.

    Parameters
    ----------
    success_weight, failure_weight : float, finite, > 0
        1 and 1 for the uniform prior; each unit that reached the target adds 1 to the
        first, each failure 1 to the second.

    Returns
    -------
    BetaPrior

    Raises
    ------
    OutsideDomainError
        If a weight is outside its range.

    Examples
    --------
    >>> beta_prior(1, 1).equivalent_unit_count
    0.0
    """
    successes = check_positive("success_weight", success_weight)
    failures = check_positive("failure_weight", failure_weight)
    return BetaPrior(
        success_weight=successes,
        failure_weight=failures,
        equivalent_unit_count=successes + failures - 2.0,
    )


def prior_from_lot(unit_count: int, failure_count: int, *, weight: float) -> BetaPrior:
    """
    Belief about this lot from the test of an earlier one.

    Parameters
    ----------
    unit_count : int, >= 0
        Units of the earlier lot run to the same target, those that failed included.
    failure_count : int, 0 to unit_count
        Units of it that failed.
    weight : float, 0 <= weight <= 1, keyword only
        What a unit of the earlier lot counts for this one: 1 if the lots are alike in all
        that matters, less if they may differ, 0 to ignore it.

    Returns
    -------
    BetaPrior
        Weights ``1 + weight * successes`` and ``1 + weight * failures``: the uniform prior,
        updated by the discounted test.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    Discounting both counts by one factor is a power prior (from memory: Ibrahim and Chen
    2000). The weight is a judgement; the answer should be looked at for several.

    Examples
    --------
    >>> prior_from_lot(22, 0, weight=0.5)
    BetaPrior(success_weight=12.0, failure_weight=1.0, equivalent_unit_count=11.0)

    Twenty-two units without a failure at half weight count as eleven.
    """
    units = check_count("unit_count", unit_count, least=0)
    failures = check_count("failure_count", failure_count, least=0, most=units)
    check_not_negative("weight", weight)
    if weight > 1.0:
        raise OutsideDomainError("weight", weight, "a number from 0 to 1")
    return beta_prior(1.0 + weight * (units - failures), 1.0 + weight * failures)


def success_run_posterior(
    prior: BetaPrior,
    unit_count: int,
    failure_count: int,
    *,
    reliability: float,
    probability: float,
) -> SuccessRunPosterior:
    """
    What a finished test by counting says with a prior, and what it shows without.

    Parameters
    ----------
    prior : BetaPrior
        Belief held before the test, fixed before its first result.
    unit_count : int, >= 0
        Units run to the target once, those that failed included.
    failure_count : int, 0 to unit_count
        Units that failed before the target.
    reliability : float, 0 < reliability < 1, keyword only
        Reliability at the target that is claimed. No unit.
    probability : float, 0 < probability < 1, keyword only
        Probability with which the credible lower limit is to hold. No unit.

    Returns
    -------
    SuccessRunPosterior

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    Beta(a, b) becomes Beta(a + n - r, b + r) (conjugate update, any text on Bayesian
    statistics); the limit is its quantile 1 - `probability`. The classical limit is the
    exact binomial one.

    Examples
    --------
    Fifteen units without a failure, after an earlier lot of 22 without one at full weight:

    >>> answer = success_run_posterior(
    ...     prior_from_lot(22, 0, weight=1.0), 15, 0, reliability=0.95, probability=0.90
    ... )
    >>> round(answer.reliability_credible_lower, 4), round(answer.probability_at_least, 4)
    (0.9412, 0.8576)
    >>> round(answer.classical_reliability_lower, 4), round(answer.classical_confidence, 4)
    (0.8577, 0.5367)

    Not enough for 0.95 at 90 % even with the prior; the fifteen units alone show 0.858.
    """
    units = check_count("unit_count", unit_count, least=0)
    failures = check_count("failure_count", failure_count, least=0, most=units)
    check_fraction("reliability", reliability)
    check_fraction("probability", probability)
    posterior = beta_prior(
        prior.success_weight + (units - failures), prior.failure_weight + failures
    )
    a, b = posterior.success_weight, posterior.failure_weight
    ran = units > 0
    return SuccessRunPosterior(
        prior=prior,
        posterior=posterior,
        posterior_mean=a / (a + b),
        reliability_credible_lower=float(special.betainccinv(a, b, probability)),
        probability_at_least=float(special.betaincc(a, b, reliability)),
        classical_reliability_lower=(
            reliability_lower(units, failures, confidence=probability) if ran else 0.0
        ),
        classical_confidence=confidence_shown(units, failures, reliability) if ran else 0.0,
        unit_count=units,
        failure_count=failures,
        reliability=reliability,
        probability=probability,
    )


def units_required_with_prior(
    prior: BetaPrior, *, reliability: float, probability: float, allowed_failures: int
) -> SuccessRunPlanWithPrior:
    """
    Fewest units that make a reliability credible if no more than the allowed number fail.

    Parameters
    ----------
    prior : BetaPrior
        Belief held before the test.
    reliability : float, 0 < reliability < 1, keyword only
        Reliability at the target that is claimed. No unit.
    probability : float, 0 < probability < 1, keyword only
        Probability that the claim is to have after the test. No unit.
    allowed_failures : int, >= 0, keyword only
        Most failures the plan tolerates, fixed before the test starts.

    Returns
    -------
    SuccessRunPlanWithPrior
        Units, those that fail included, beside the classical number.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    The smallest n with ``P(Beta(a + n - r, b + r) >= R) >= probability``. With the uniform
    prior and no failure ``ln(1 - probability) / ln R - 1``: one unit less than the
    classical success run, since that prior counts as one success already seen. A plan made
    with a prior cannot be read classically with the same number of units afterwards.

    Examples
    --------
    >>> plan = units_required_with_prior(
    ...     beta_prior(1, 1), reliability=0.90, probability=0.90, allowed_failures=0
    ... )
    >>> plan.unit_count, plan.classical_unit_count
    (21, 22)
    >>> plan = units_required_with_prior(
    ...     prior_from_lot(22, 0, weight=0.5),
    ...     reliability=0.90, probability=0.90, allowed_failures=0,
    ... )
    >>> plan.unit_count, round(plan.classical_confidence, 2)
    (10, 0.65)

    Half of the credit for an earlier lot saves twelve units, and the ten alone show 0.90
    with a confidence of 65 % only.
    """
    check_fraction("reliability", reliability)
    check_fraction("probability", probability)
    allowed = check_count("allowed_failures", allowed_failures, least=0)
    a, b = prior.success_weight, prior.failure_weight + allowed

    def doubt(units: int) -> float:
        return float(special.betainc(a + units - allowed, b, reliability))

    exact = _success_weight_needed(b, reliability, probability) - a + allowed
    most_doubt = risk_limit(probability)
    units = max(allowed, math.ceil(exact))
    while doubt(units) > most_doubt:
        units += 1
    while units > allowed and doubt(units - 1) <= most_doubt:
        units -= 1
    return SuccessRunPlanWithPrior(
        prior=prior,
        unit_count=units,
        unit_count_exact=exact,
        probability_reached=float(special.betaincc(a + units - allowed, b, reliability)),
        prior_alone_suffices=bool(
            special.betainc(a, prior.failure_weight, reliability) <= most_doubt
        ),
        classical_unit_count=units_required(reliability, probability, allowed_failures=allowed),
        classical_confidence=confidence_shown(units, allowed, reliability) if units else 0.0,
        reliability=reliability,
        probability=probability,
        allowed_failures=allowed,
    )


def chance_of_passing(prior: BetaPrior, unit_count: int, *, allowed_failures: int) -> PassingChance:
    """
    Chance that a future test by counting will be passed.

    Parameters
    ----------
    prior : BetaPrior
        What is known of the lot now: a prior, or the posterior of an earlier test.
    unit_count : int, 1 to 10 000 000
        Units of the future test.
    allowed_failures : int, 0 to unit_count, keyword only
        Most failures with which it is passed.

    Returns
    -------
    PassingChance

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    Beta-binomial: ``sum over k <= c of C(n, k) B(a + n - k, b + k) / B(a, b)``. Each term
    follows from the one before by a ratio, and the first from differences of ln Γ taken
    without cancellation, so that the answer is exact for a million units too.

    Examples
    --------
    >>> answer = chance_of_passing(prior_from_lot(22, 0, weight=1.0), 22, allowed_failures=0)
    >>> round(answer.chance, 4), round(answer.classical_chance_at_mean, 4)
    (0.5111, 0.3921)

    A lot that has just passed 22 of 22 passes the same test again about every second time.
    """
    units = check_count("unit_count", unit_count, least=1, most=_MOST_UNITS)
    allowed = check_count("allowed_failures", allowed_failures, least=0, most=units)
    a, b = prior.success_weight, prior.failure_weight
    mean = a / (a + b)
    chance = at_mean = 1.0
    if allowed < units:
        chance = min(1.0, math.exp(_log_chance(a, b, units, allowed)))
        at_mean = float(special.betaincc(allowed + 1, units - allowed, b / (a + b)))
    return PassingChance(
        prior=prior,
        chance=chance,
        classical_chance_at_mean=at_mean,
        reliability_mean=mean,
        unit_count=units,
        allowed_failures=allowed,
    )


def _log_chance(a: float, b: float, units: int, allowed: int) -> float:
    """Logarithm of the beta-binomial chance of no more than `allowed` failures."""
    # No failure: Γ(a + n) Γ(a + b) / (Γ(a) Γ(a + b + n)).
    first = _log_gamma_growth(a, b) - _log_gamma_growth(a + units, b)
    k = np.arange(allowed, dtype=np.float64)
    ratios = np.log(((units - k) / (k + 1.0)) * ((b + k) / (a + units - k - 1.0)))
    terms = np.concatenate(([0.0], np.cumsum(ratios)))
    largest = float(terms.max())
    return first + largest + math.log(float(np.exp(terms - largest).sum()))


def _log_gamma_growth(start: float, growth: float) -> float:
    """
    ``ln Γ(start + growth) - ln Γ(start)`` without the difference of two large numbers.

    Stirling's series (Abramowitz and Stegun 6.1.41, from memory), its leading terms
    subtracted by hand, at a start that is large enough for three terms of it.
    """
    steps = max(0, _STIRLING_FROM - math.floor(start))
    below = float(np.log1p(growth / (start + np.arange(steps))).sum())
    low, high = start + steps, start + steps + growth

    def remainder(x: float) -> float:
        return (1.0 / 12.0 - (1.0 / 360.0 - 1.0 / (1260.0 * x * x)) / (x * x)) / x

    leading = (low - 0.5) * math.log1p(growth / low) + growth * math.log(high) - growth
    return leading + remainder(high) - remainder(low) - below


def _success_weight_needed(failure_weight: float, reliability: float, probability: float) -> float:
    """Success weight x at which Beta(x, failure_weight) exceeds `reliability` just so."""
    log_doubt = math.log1p(-probability)
    if failure_weight == 1.0:
        return log_doubt / math.log(reliability)

    def excess(log_weight: float) -> float:
        doubt = float(special.betainc(math.exp(log_weight), failure_weight, reliability))
        return math.log(max(doubt, _LEAST_CHANCE)) - log_doubt

    low, high = -1.0, 1.0
    while excess(low) < 0.0:
        low -= 2.0
    while excess(high) > 0.0:
        high += 1.0
    return math.exp(float(optimize.brentq(excess, low, high, xtol=1e-14, rtol=1e-14)))
