"""Tests of fixed length with both risks stated: exact risks, and the smallest that meets both."""

import math
from collections.abc import Callable

from scipy import optimize, special

from analysis.checks import check_count, check_fraction, check_positive
from analysis.errors import OutsideDomainError
from analysis.statistics.rounding import ROUND_TRIP_SLACK, risk_limit
from analysis.statistics.success_run import units_required
from schemas.test_plans import CountedPlan, FailureEndedPlan, PlanRisks, TimedPlan

MOST_FAILURES = 1_000_000
"""A plan that would allow more failures than this is refused: the two levels are too close."""


def timed_plan_risks(
    total: float, *, allowed_failures: int, good_mean: float, bad_mean: float
) -> PlanRisks:
    """
    Both risks of a test that ends at a total fixed beforehand.

    Parameters
    ----------
    total : float, finite, > 0
        Cycles (or target lives) of all units together at which the test ends.
    allowed_failures : int, >= 0, keyword only
        Most failures with which the lot is accepted.
    good_mean, bad_mean : float, finite, 0 < bad_mean < good_mean, keyword only
        Mean between failures of a lot that should pass, and of one that should not.
        Same unit as `total`.

    Returns
    -------
    PlanRisks
        Chance that the good lot is refused and that the bad lot is accepted.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    ``1 - Pois(c; T / good)`` and ``Pois(c; T / bad)``. Exact while failures are a Poisson
    count: a constant rate, or target lives with a known Weibull shape.

    Examples
    --------
    A plan of 9.3 times the bad mean with five failures allowed, for means 3 to 1:

    >>> risks = timed_plan_risks(9.3, allowed_failures=5, good_mean=3.0, bad_mean=1.0)
    >>> round(risks.producer_risk, 3), round(risks.consumer_risk, 3)
    (0.094, 0.099)
    """
    end = check_positive("total", total)
    steps = check_count("allowed_failures", allowed_failures, least=0) + 1
    good, bad = _check_means(good_mean, bad_mean)
    return PlanRisks(
        producer_risk=float(special.gammainc(steps, end / good)),
        consumer_risk=float(special.gammaincc(steps, end / bad)),
    )


def timed_plan(
    good_mean: float, bad_mean: float, *, producer_risk: float, consumer_risk: float
) -> TimedPlan:
    """
    Shortest test ending at a fixed total that keeps both risks.

    Parameters
    ----------
    good_mean, bad_mean
        As in `timed_plan_risks`.
    producer_risk : float, 0 < producer_risk < 1, keyword only
        Largest chance allowed that the good lot is refused.
    consumer_risk : float, 0 < consumer_risk < 1 - producer_risk, keyword only
        Largest chance allowed that the bad lot is accepted.

    Returns
    -------
    TimedPlan
        Fewest allowed failures for which a total exists, and the range of such totals.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range, or the means are so close that the plan
        would allow more than a million failures.

    Notes
    -----
    The smallest c with ``chi2(1 - consumer; 2c+2) / chi2(producer; 2c+2) <= good / bad``;
    totals from ``bad chi2(1 - consumer; 2c+2) / 2`` to ``good chi2(producer; 2c+2) / 2``.
    Follows from the two risks; both ends are exact.

    Examples
    --------
    >>> plan = timed_plan(3_000, 2_500, producer_risk=0.2, consumer_risk=0.2)
    >>> plan.allowed_failures, round(plan.least_total), round(plan.most_total)
    (85, 234230, 234342)

    One failure fewer would miss one of the two risks at any length.
    """
    good, bad = _check_means(good_mean, bad_mean)
    check_risks(producer_risk, consumer_risk)
    steps = _fewest_steps(good, bad, producer_risk, consumer_risk)
    return TimedPlan(
        allowed_failures=steps - 1,
        least_total=bad * _reached_by_bad(steps, consumer_risk),
        most_total=good * _reached_by_good(steps, producer_risk),
        good_mean=good,
        bad_mean=bad,
    )


def failure_ended_plan(
    good_mean: float, bad_mean: float, *, producer_risk: float, consumer_risk: float
) -> FailureEndedPlan:
    """
    Shortest test ending at a fixed number of failures that keeps both risks.

    Parameters
    ----------
    good_mean, bad_mean, producer_risk, consumer_risk
        As in `timed_plan`.

    Returns
    -------
    FailureEndedPlan
        The failure that ends the test, and the least mean with which the lot is accepted.

    Raises
    ------
    OutsideDomainError
        As in `timed_plan`.

    Notes
    -----
    The smallest r with ``chi2(producer; 2r) / chi2(1 - consumer; 2r) >= bad / good``; accept
    when total / r reaches ``good chi2(producer; 2r) / (2r)``: MIL-HDBK-H108, section 2B
    (recalled, not read). The producer's risk is then exact, the consumer's at most as asked.

    Examples
    --------
    >>> plan = failure_ended_plan(2.0, 1.0, producer_risk=0.05, consumer_risk=0.10)
    >>> plan.failure_count, round(plan.least_mean_ratio, 3)
    (19, 0.655)
    """
    good, bad = _check_means(good_mean, bad_mean)
    check_risks(producer_risk, consumer_risk)
    failures = _fewest_steps(good, bad, producer_risk, consumer_risk)
    ratio = _reached_by_good(failures, producer_risk) / failures
    return FailureEndedPlan(
        failure_count=failures,
        least_mean_ratio=ratio,
        least_mean=good * ratio,
        good_mean=good,
        bad_mean=bad,
    )


def counted_plan(
    good_reliability: float, bad_reliability: float, *, producer_risk: float, consumer_risk: float
) -> CountedPlan:
    """
    Fewest units, each run to the target once, that keep both risks.

    Parameters
    ----------
    good_reliability, bad_reliability : float, 0 < bad < good < 1
        Fraction reaching the target in a lot that should pass, and in one that should not.
    producer_risk, consumer_risk
        As in `timed_plan`.

    Returns
    -------
    CountedPlan
        Units, allowed failures and the exact risks of that plan.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range, or the two reliabilities are so close that
        the plan would allow more than a million failures.

    Notes
    -----
    For each number of allowed failures the fewest units that keep the consumer's risk are
    known; the first number for which they keep the producer's too is the answer, since
    each further failure costs units. Numbers that fail even with a fraction of a unit
    are passed over by bisection.

    Examples
    --------
    >>> plan = counted_plan(0.99, 0.92, producer_risk=0.05, consumer_risk=0.10)
    >>> plan.unit_count, plan.allowed_failures
    (65, 2)
    >>> round(plan.producer_risk, 4), round(plan.consumer_risk, 4)
    (0.0276, 0.0991)
    """
    check_fraction("good_reliability", good_reliability)
    check_fraction("bad_reliability", bad_reliability)
    if bad_reliability >= good_reliability:
        raise OutsideDomainError(
            "bad_reliability", bad_reliability, f"below good_reliability ({good_reliability!r})"
        )
    check_risks(producer_risk, consumer_risk)
    bad = 1.0 - bad_reliability
    good = 1.0 - good_reliability

    def fewest_units(allowed: int) -> int:
        return units_required(bad_reliability, 1.0 - consumer_risk, allowed_failures=allowed)

    def possible(allowed: int) -> bool:
        """Whether the producer's risk is kept when a fraction of a unit may be run."""
        units = _units_to_the_fraction(fewest_units(allowed), allowed, bad, consumer_risk)
        return float(special.betainc(allowed + 1, units - allowed, good)) <= producer_risk

    # One step back: a number that misses by rounding error must not be passed over.
    allowed = max(0, _first_true(possible, 0, "bad_reliability", bad_reliability) - 1)
    limit = risk_limit(1.0 - producer_risk)
    while True:
        units = fewest_units(allowed)
        risk = float(special.betainc(allowed + 1, units - allowed, good))
        if risk <= limit:
            break
        allowed += 1
    return CountedPlan(
        unit_count=units,
        allowed_failures=allowed,
        good_reliability=good_reliability,
        bad_reliability=bad_reliability,
        producer_risk=risk,
        consumer_risk=float(special.betainc(units - allowed, allowed + 1, bad_reliability)),
    )


def check_risks(producer_risk: float, consumer_risk: float) -> None:
    """
    Accept two risks that leave a plan something to decide.

    Raises
    ------
    OutsideDomainError
        If one is not strictly between 0 and 1, or their sum reaches 1 (a coin does better).
    """
    check_fraction("producer_risk", producer_risk)
    check_fraction("consumer_risk", consumer_risk)
    if producer_risk + consumer_risk >= 1.0:
        raise OutsideDomainError(
            "consumer_risk", consumer_risk, f"below 1 - producer_risk ({1.0 - producer_risk!r})"
        )


def _check_means(good_mean: float, bad_mean: float) -> tuple[float, float]:
    good = check_positive("good_mean", good_mean)
    bad = check_positive("bad_mean", bad_mean)
    if bad >= good:
        raise OutsideDomainError("bad_mean", bad_mean, f"below good_mean ({good_mean!r})")
    return good, bad


def _reached_by_good(steps: int, producer_risk: float) -> float:
    """Total, in means, before which failure number `steps` comes with just this chance."""
    return float(special.gammaincinv(steps, producer_risk))


def _reached_by_bad(steps: int, consumer_risk: float) -> float:
    """Total, in means, after which failure number `steps` comes with just this chance."""
    return float(special.gammainccinv(steps, consumer_risk))


def _fewest_steps(good: float, bad: float, producer_risk: float, consumer_risk: float) -> int:
    """First failure number that tells the two means apart with both risks."""

    def tells_apart(steps: int) -> bool:
        least = _reached_by_bad(steps, consumer_risk)
        most = _reached_by_good(steps, producer_risk)
        return bad * least <= good * most * (1.0 + ROUND_TRIP_SLACK)

    return _first_true(tells_apart, 1, "bad_mean", bad)


def _first_true(holds: Callable[[int], bool], least: int, name: str, level: float) -> int:
    """First whole number from `least` at which a condition holds that then holds for good."""
    low, high = least - 1, least
    while not holds(high):
        if high > MOST_FAILURES:
            raise OutsideDomainError(
                name,
                level,
                "so far from the good level that a million failures suffice",
            )
        low, high = high, 2 * high + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def _units_to_the_fraction(units: int, allowed: int, bad: float, consumer_risk: float) -> float:
    """Number of units, not rounded, at which the consumer's risk is met exactly."""
    least = float(max(units - 1, allowed))

    def excess(number: float) -> float:
        chance = float(special.betaincc(allowed + 1, number - allowed, bad))
        return math.log(chance) - math.log(consumer_risk)

    if least == allowed or excess(least) <= 0.0 or excess(float(units)) >= 0.0:
        return least if least > allowed else float(units)
    return float(optimize.brentq(excess, least, float(units), xtol=1e-9, rtol=1e-14))
