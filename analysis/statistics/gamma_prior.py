"""
A constant failure rate with a gamma prior.

For parts with a known Weibull shape the same holds with target lives in the place of cycles.
The prior is an argument of every function; there is none by default.
"""

import math

from scipy import optimize, special

from analysis.checks import check_count, check_fraction, check_not_negative, check_positive
from analysis.errors import OutsideDomainError
from analysis.statistics.rate_tests import mean_bounds, rate_test_length
from schemas.priors import GammaPrior, RatePosterior, RateTestWithPrior

# Failures that a prior may weigh; beyond them its quantiles are no usable numbers.
_LEAST_FAILURES, _MOST_FAILURES = 1e-2, 1e10
_ENDLESS = 1e6  # Stands for the logarithm of a ratio too large for a number.


def gamma_prior_from_means(
    low_mean_cycles: float,
    high_mean_cycles: float,
    *,
    probability_above_low: float,
    probability_above_high: float,
) -> GammaPrior:
    """
    Belief about a failure rate, from two statements about the mean between failures.

    Parameters
    ----------
    low_mean_cycles, high_mean_cycles : float, finite, 0 < low < high
        Two means between failures. Cycles, or any unit of exposure.
    probability_above_low, probability_above_high : float, fractions, keyword only
        Probability held that the true mean is above each of them; the first the larger.

    Returns
    -------
    GammaPrior
        The gamma distribution of the rate that makes both statements true exactly.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range or order, or if the two statements are nearly
        certain or nearly empty: no usable distribution makes them true.

    Notes
    -----
    ``G^-1(P_low; a) / G^-1(P_high; a) = high / low`` has one solution a, found by bracketing
    in ln a; then ``b = high G^-1(P_high; a)``. NIST/SEMATECH e-Handbook, section 8.2.5
    (the worked values from memory).

    Examples
    --------
    The handbook's example: 50 % that the mean is above 600, 95 % that it is above 250:

    >>> prior = gamma_prior_from_means(
    ...     250, 600, probability_above_low=0.95, probability_above_high=0.50
    ... )
    >>> round(prior.equivalent_failures, 6), round(prior.equivalent_cycles, 3)
    (2.863055, 1522.506)

    The belief weighs as much as 2.9 failures seen in 1 522.5 hours.
    """
    low = check_positive("low_mean_cycles", low_mean_cycles)
    high = check_positive("high_mean_cycles", high_mean_cycles)
    likely = check_fraction("probability_above_low", probability_above_low)
    unlikely = check_fraction("probability_above_high", probability_above_high)
    if low >= high:
        raise OutsideDomainError("low_mean_cycles", low, f"below high_mean_cycles ({high!r})")
    if likely <= unlikely:
        raise OutsideDomainError(
            "probability_above_low", likely, f"above probability_above_high ({unlikely!r})"
        )

    def excess(log_shape: float) -> float:
        shape = math.exp(log_shape)
        slow = float(special.gammaincinv(shape, unlikely))
        fast = float(special.gammaincinv(shape, likely))
        if slow == 0.0:
            return _ENDLESS
        return math.log(fast / slow) - math.log(high / low)

    least, most = math.log(_LEAST_FAILURES), math.log(_MOST_FAILURES)
    if excess(least) <= 0.0 or excess(most) >= 0.0:
        raise OutsideDomainError(
            "high_mean_cycles", high, "such that a prior of 0.01 to 1e10 failures fits both means"
        )
    shape = math.exp(float(optimize.brentq(excess, least, most, xtol=1e-15, rtol=1e-15)))
    return GammaPrior(
        equivalent_failures=shape,
        equivalent_cycles=high * float(special.gammaincinv(shape, unlikely)),
    )


def rate_posterior(
    prior: GammaPrior, total_cycles: float, failure_count: int, *, probability: float
) -> RatePosterior:
    """
    What a finished test of a constant rate says with a prior, and what it shows without.

    Parameters
    ----------
    prior : GammaPrior
        Belief held before the test.
    total_cycles : float, finite, >= 0
        Cycles of all units together, in the unit of the prior.
    failure_count : int, >= 0
        Failures in that total.
    probability : float, 0 < probability < 1, keyword only
        Probability with which the credible lower limit is to hold. No unit.

    Returns
    -------
    RatePosterior

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    Gamma(a, b) becomes Gamma(a + r, b + T); the limit of the mean is
    ``(b + T) / G^-1(probability; a + r)``: NIST/SEMATECH e-Handbook, section 8.4.6.

    Examples
    --------
    >>> prior = GammaPrior(equivalent_failures=2.863, equivalent_cycles=1522.46)
    >>> answer = rate_posterior(prior, 1756, 1, probability=0.80)
    >>> round(answer.mean_credible_lower_cycles), round(answer.classical_mean_lower_cycles)
    (613, 586)

    The mean is above 613 with probability 0.80; without the prior the test shows 586.
    """
    total = check_not_negative("total_cycles", total_cycles)
    failures = check_count("failure_count", failure_count, least=0)
    check_fraction("probability", probability)
    a, b = prior.equivalent_failures + failures, prior.equivalent_cycles + total
    classical = 0.0
    if total > 0.0:
        bounds = mean_bounds(total, failures, confidence=probability, ended_at_failure=False)
        classical = bounds.mean_lower_cycles
    return RatePosterior(
        prior=prior,
        posterior=GammaPrior(equivalent_failures=a, equivalent_cycles=b),
        mean_median_cycles=b / float(special.gammaincinv(a, 0.5)),
        mean_credible_lower_cycles=b / float(special.gammaincinv(a, probability)),
        classical_mean_lower_cycles=classical,
        total_cycles=total,
        failure_count=failures,
        probability=probability,
    )


def rate_test_with_prior(
    prior: GammaPrior, mean_cycles: float, *, probability: float, allowed_failures: int
) -> RateTestWithPrior:
    """
    Total of cycles that makes a mean between failures credible, if few enough fail.

    Parameters
    ----------
    prior : GammaPrior
        Belief held before the test.
    mean_cycles : float, finite, > 0
        Mean between failures that is claimed. Cycles, in the unit of the prior.
    probability : float, 0 < probability < 1, keyword only
        Probability that the claim is to have after the test. No unit.
    allowed_failures : int, >= 0, keyword only
        Most failures the test tolerates, fixed beforehand.

    Returns
    -------
    RateTestWithPrior

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    ``M G^-1(probability; a + r) - b``: NIST/SEMATECH e-Handbook, section 8.3.1.5.

    Examples
    --------
    >>> prior = GammaPrior(equivalent_failures=2.863, equivalent_cycles=1522.46)
    >>> plan = rate_test_with_prior(prior, 500, probability=0.80, allowed_failures=2)
    >>> round(plan.total_cycles), round(plan.classical_total_cycles)
    (1756, 2140)
    """
    mean = check_positive("mean_cycles", mean_cycles)
    check_fraction("probability", probability)
    allowed = check_count("allowed_failures", allowed_failures, least=0)
    steps = float(special.gammaincinv(prior.equivalent_failures + allowed, probability))
    needed = mean * steps - prior.equivalent_cycles
    classical = rate_test_length(mean, confidence=probability, allowed_failures=allowed)
    return RateTestWithPrior(
        prior=prior,
        total_cycles=max(0.0, needed),
        prior_alone_suffices=needed <= 0.0,
        classical_total_cycles=classical.total_cycles,
        mean_cycles=mean,
        probability=probability,
        allowed_failures=allowed,
    )
