"""Wald's lines of a sequential test, by counting units or on a total with known shape."""

import math

from analysis.checks import check_fraction, check_positive
from analysis.errors import OutsideDomainError
from analysis.statistics.rounding import ROUND_TRIP_SLACK, round_up
from schemas.test_plans import SequentialLines, SequentialTimeLines


def sequential_lines(
    good_reliability: float,
    bad_reliability: float,
    *,
    producer_risk: float,
    consumer_risk: float,
) -> SequentialLines:
    """
    Lines between which a test by counting goes on.

    Parameters
    ----------
    good_reliability, bad_reliability : float, fractions, the good one larger
        Level at which a lot should pass, and level at which it should not.
    producer_risk, consumer_risk : float, fractions whose sum is below 1, keyword only
        Nominal chances of the two wrong answers; the true ones differ, see
        `sequential_exact.counted_outcome`.

    Returns
    -------
    SequentialLines
        Failures against units run, with Wald's approximate chances and lengths.

    Raises
    ------
    OutsideDomainError
        If a fraction is out of its range, the good level is not the better one, or the
        risks add up to 1 or more.

    Notes
    -----
    Likelihood-ratio test of failure fractions p0 = 1 - good and p1 = 1 - bad: A. Wald,
    "Sequential Analysis", 1947 (formulas from memory, reproduced by the published cases).

    Examples
    --------
    >>> lines = sequential_lines(0.95, 0.85, producer_risk=0.10, consumer_risk=0.10)
    >>> lines.least_units_to_accept, round(lines.mean_units_good_approx, 1)
    (20, 34.6)

    Twenty units without a failure accept; a good lot takes about 35 units.
    """
    good, bad = _fractions_in_order(good_reliability, bad_reliability)
    accept_at, reject_at = _boundaries(producer_risk, consumer_risk)
    by_failure = math.log((1.0 - bad) / (1.0 - good))  # ln(p1 / p0)
    by_survivor = math.log(good / bad)  # ln((1 - p0) / (1 - p1))
    span = by_failure + by_survivor
    slope, accept, reject = by_survivor / span, accept_at / span, reject_at / span

    def mean_units(failure_fraction: float, chance: float) -> float:
        per_unit = failure_fraction * by_failure - (1.0 - failure_fraction) * by_survivor
        return (-chance * accept_at + (1.0 - chance) * reject_at) / per_unit

    return SequentialLines(
        slope=slope,
        accept_intercept=accept,
        reject_intercept=reject,
        least_units_to_accept=round_up(accept / slope),
        chance_at_slope_approx=reject / (accept + reject),
        mean_units_good_approx=mean_units(1.0 - good, 1.0 - producer_risk),
        mean_units_bad_approx=mean_units(1.0 - bad, consumer_risk),
        mean_units_slope_approx=accept * reject / (slope * (1.0 - slope)),
        good_reliability=good,
        bad_reliability=bad,
        producer_risk=producer_risk,
        consumer_risk=consumer_risk,
    )


def sequential_time_lines(
    good_scale: float,
    bad_scale: float,
    *,
    shape: float,
    producer_risk: float,
    consumer_risk: float,
) -> SequentialTimeLines:
    """
    Lines between which a test on a total goes on, the Weibull shape being known.

    Parameters
    ----------
    good_scale, bad_scale : float, finite, > 0, the good one larger
        Characteristic life at the two levels. Cycles, or target lives.
    shape : float, finite, > 0, keyword only
        Weibull shape; 1 for a constant failure rate.
    producer_risk, consumer_risk : float, fractions whose sum is below 1, keyword only
        Nominal chances of the two wrong answers.

    Returns
    -------
    SequentialTimeLines
        The total is the sum of ``cycles**shape`` over units; its means are the scales to
        the power of the shape.

    Raises
    ------
    OutsideDomainError
        As in `sequential_lines`.

    Notes
    -----
    In the clock ``cycles**shape`` failures come at a constant rate: Wald's test of two
    means (as in `sequential_lines`).

    Examples
    --------
    >>> lines = sequential_time_lines(
    ...     2.0, 1.0, shape=1.0, producer_risk=0.10, consumer_risk=0.10
    ... )
    >>> round(lines.slope, 4), round(lines.total_to_accept_without_failure, 2)
    (1.3863, 4.39)
    """
    good_power = _power(check_positive("good_scale", good_scale), shape)
    bad_power = _power(check_positive("bad_scale", bad_scale), shape)
    if good_power <= bad_power:
        raise OutsideDomainError("bad_scale", bad_scale, "below good_scale")
    accept_at, reject_at = _boundaries(producer_risk, consumer_risk)
    by_failure = math.log(good_power / bad_power)
    by_total = 1.0 / bad_power - 1.0 / good_power
    slope, accept, reject = by_failure / by_total, accept_at / by_total, reject_at / by_total

    def mean_failures(mean: float, chance: float) -> float:
        per_failure = by_failure - mean * by_total
        return (-chance * accept_at + (1.0 - chance) * reject_at) / per_failure

    of_good = mean_failures(good_power, 1.0 - producer_risk)
    of_bad = mean_failures(bad_power, consumer_risk)
    return SequentialTimeLines(
        slope=slope,
        accept_intercept=accept,
        reject_intercept=reject,
        total_to_accept_without_failure=accept,
        least_failures_to_reject=math.floor(reject / slope * (1.0 + ROUND_TRIP_SLACK)) + 1,
        chance_at_slope_approx=reject / (accept + reject),
        mean_failures_good_approx=of_good,
        mean_failures_bad_approx=of_bad,
        mean_total_good_approx=of_good * good_power,
        mean_total_bad_approx=of_bad * bad_power,
        good_mean=good_power,
        bad_mean=bad_power,
        shape=shape,
        producer_risk=producer_risk,
        consumer_risk=consumer_risk,
    )


def _fractions_in_order(good: float, bad: float) -> tuple[float, float]:
    check_fraction("good_reliability", good)
    check_fraction("bad_reliability", bad)
    if good <= bad:
        raise OutsideDomainError("bad_reliability", bad, "below good_reliability")
    return good, bad


def _boundaries(producer_risk: float, consumer_risk: float) -> tuple[float, float]:
    """Log likelihood ratios at which the test accepts (below minus it) and refuses."""
    producer = check_fraction("producer_risk", producer_risk)
    consumer = check_fraction("consumer_risk", consumer_risk)
    if producer + consumer >= 1.0:
        raise OutsideDomainError("consumer_risk", consumer_risk, "below 1 - producer_risk")
    return math.log((1.0 - producer) / consumer), math.log((1.0 - consumer) / producer)


def _power(scale: float, shape: float) -> float:
    check_positive("shape", shape)
    try:
        power = float(scale**shape)
    except OverflowError:
        power = math.inf
    if not 0.0 < power < math.inf:
        raise OutsideDomainError("shape", shape, "small enough for scale**shape to be a number")
    return power
