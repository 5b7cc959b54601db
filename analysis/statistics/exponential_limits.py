"""Exact limits of the mean of exponential lives."""

import numpy as np

from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.rate_tests import mean_bounds
from schemas.rates import MeanBounds


def exponential_limits(
    records: LifeRecords, *, confidence: float, ended_at_failure: bool
) -> MeanBounds:
    """
    Estimate and limits of the mean life when the chance of failure never changes.

    Parameters
    ----------
    records : LifeRecords
        Exact failures and units that did not fail, some cycles in all. Cycles.
    confidence : float, 0 < confidence < 1, keyword only
        One-sided confidence with which each limit alone holds; both together hold with
        ``2 * confidence - 1``. No unit.
    ended_at_failure : bool, keyword only
        True if the test ended at its last failure by plan, False if at planned cycles.

    Returns
    -------
    MeanBounds
        Estimate and upper limit are not estimable without a failure.

    Raises
    ------
    OutsideDomainError
        If a life is bracketed (the total is then not known), or as `mean_bounds`.

    Notes
    -----
    Total cycles T and failures r give T / r and the chi-square limits of `mean_bounds`.
    Exact for a test that ended at a failure and for units that are replaced,
    conservative for units that leave at planned cycles (simulations of Weibayes, which
    this is with a shape of 1).

    Examples
    --------
    Two failures at 41 000 cycles, ten units stopped unbroken at 52 000:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([41_000, 52_000], [True, False], counts=[2, 10])
    >>> limits = exponential_limits(lives, confidence=0.9, ended_at_failure=False)
    >>> round(limits.mean_cycles), round(limits.mean_lower_cycles)
    (301000, 113109)
    """
    if records.has_brackets:
        raise OutsideDomainError("records", "a bracketed life", "exact failures and unbroken lives")
    return mean_bounds(
        float(np.dot(records.counts, records.low_cycles)),
        records.failure_count,
        confidence=confidence,
        ended_at_failure=ended_at_failure,
    )
