"""Constant failure rate: mean cycles between failures from a total, and totals for a claim."""

from scipy import special

from analysis.checks import check_count, check_fraction, check_positive
from schemas.estimates import NotEstimable
from schemas.rates import MeanBounds, RateTestLength


def mean_bounds(
    total_cycles: float, failure_count: int, *, confidence: float, ended_at_failure: bool
) -> MeanBounds:
    """
    Mean cycles between failures, estimated and bounded from a total of cycles.

    Parameters
    ----------
    total_cycles : float, finite, > 0
        Cycles of all units together. Any unit of time serves as well.
    failure_count : int, >= 0
        Failures in that total.
    confidence : float, 0 < confidence < 1, keyword only
        One-sided: each bound alone holds with it, both together with 2 C - 1.
    ended_at_failure : bool, keyword only
        True if the test was planned to end at its last failure.

    Returns
    -------
    MeanBounds
        Estimate and upper bound are not estimable without a failure.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range, or the test ended at a failure and
        there is none.

    Notes
    -----
    ``2 T / chi2(C; 2 r + 2)`` from below (``2 r`` when the test ended at a failure) and
    ``2 T / chi2(1 - C; 2 r)`` from above: NIST/SEMATECH e-Handbook, section 8.4.5.1.
    Valid for a constant failure rate only, not for parts that wear out.

    Examples
    --------
    Two failures in 800 hours, the handbook's example of a two-sided 90 % interval:

    >>> bounds = mean_bounds(800, 2, confidence=0.95, ended_at_failure=False)
    >>> bounds.mean_cycles, round(bounds.mean_lower_cycles, 3), round(bounds.mean_upper_cycles, 3)
    (400.0, 127.069, 2251.229)
    """
    total = check_positive("total_cycles", total_cycles)
    failures = check_count("failure_count", failure_count, least=1 if ended_at_failure else 0)
    check_fraction("confidence", confidence)
    steps = failures if ended_at_failure else failures + 1
    none: float | NotEstimable = NotEstimable(reason="NO_FAILURES")
    upper = total / float(special.gammainccinv(failures, confidence)) if failures else none
    return MeanBounds(
        mean_cycles=total / failures if failures else none,
        mean_lower_cycles=total / float(special.gammaincinv(steps, confidence)),
        mean_upper_cycles=upper,
        total_cycles=total,
        failure_count=failures,
        confidence=confidence,
        ended_at_failure=ended_at_failure,
    )


def rate_test_length(
    mean_cycles: float, *, confidence: float, allowed_failures: int
) -> RateTestLength:
    """
    Total of cycles that shows a mean between failures, if few enough failures occur.

    Parameters
    ----------
    mean_cycles : float, finite, > 0
        Mean cycles between failures to be shown.
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence of the demonstration.
    allowed_failures : int, >= 0, keyword only
        Most failures the test tolerates, fixed beforehand.

    Returns
    -------
    RateTestLength
        The total, and its ratio to the mean; not rounded.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    ``M chi2(C; 2 a + 2) / 2``: NIST/SEMATECH e-Handbook, section 8.3.1.1.

    Examples
    --------
    >>> length = rate_test_length(500, confidence=0.8, allowed_failures=1)
    >>> round(length.ratio, 2), round(length.total_cycles)
    (2.99, 1497)
    """
    mean = check_positive("mean_cycles", mean_cycles)
    check_fraction("confidence", confidence)
    allowed = check_count("allowed_failures", allowed_failures, least=0)
    ratio = float(special.gammaincinv(allowed + 1, confidence))
    return RateTestLength(
        total_cycles=mean * ratio,
        ratio=ratio,
        mean_cycles=mean,
        confidence=confidence,
        allowed_failures=allowed,
    )
