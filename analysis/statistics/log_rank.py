"""Do groups of units fail at the same rate? The log-rank test, which assumes no distribution."""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from scipy import special

from analysis.checks import BoolArray, FloatArray
from analysis.statistics.life_records import LifeRecords
from schemas.estimates import NotEstimable
from schemas.populations import GroupLeftOut, GroupTally, LogRankTest

LEAST_EXPECTED = 5.0
"""With fewer failures expected in a group the chi-square p-value is only a guide."""


class _Table(NamedTuple):
    """Failures and units at risk, per group (rows) and count with a failure (columns)."""

    failures: FloatArray
    at_risk: FloatArray


def log_rank_test(groups: Mapping[str, LifeRecords]) -> LogRankTest | NotEstimable:
    """
    Whether groups fail alike over all counts, without a life distribution.

    Parameters
    ----------
    groups : mapping of str to LifeRecords
        Lives of each lot, component batch or station, by name. Cycles. A group in which
        nothing failed takes part: it has a number of failures that it should have had.

    Returns
    -------
    LogRankTest or NotEstimable
        Failures seen and expected per group, and the test; or ``NO_FAILURES``,
        ``BRACKETED_LIVES`` (the order of failures within brackets is not known: compare
        by `population_tests`), ``FEWER_THAN_TWO_GROUPS`` (of those that still ran at the
        first failure; the others say nothing and are left out as
        ``STOPPED_BEFORE_FIRST_FAILURE``) or ``ALL_FAILED_AT_ONCE`` (at one count, no
        unit left: nothing to compare).

    Notes
    -----
    At each count with d failures among n units at risk, a group with n_g of them expects
    ``d n_g / n``, with the hypergeometric covariance ``d (n - d) / (n - 1) (n_g / n)
    (1[g = h] - n_h / n)``, which allows for ties. The quadratic form of the summed
    differences in the inverse of the summed covariance, one group left out, is chi-square
    of k - 1 degrees of freedom for many failures [1]_. Units stopped at a count are at
    risk at that count. The test weighs early and late failures alike: it is strongest
    where one group fails at a constant multiple of the other's rate, and may miss curves
    that cross. For two groups the p-value is two-sided.

    References
    ----------
    .. [1] J. P. Klein, M. L. Moeschberger, "Survival Analysis", 2nd edition, 2003,
           chapter 7. (From memory; compared with another implementation in the tests.)

    Examples
    --------
    A batch that failed early, beside one of which nothing failed:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> whole = lives_with_run_outs([200_000], [False], counts=[8])
    >>> weak = lives_with_run_outs([15_000, 33_000, 54_000, 61_000], [True] * 4)
    >>> test = log_rank_test({"SB-16": whole, "SB-17": weak})
    >>> [round(group.expected_failures, 2) for group in test.groups]
    [3.08, 0.92]
    >>> round(test.statistic, 2), round(test.p_value, 4)
    (13.99, 0.0002)
    """
    if any(records.has_brackets for records in groups.values()):
        return NotEstimable(reason="BRACKETED_LIVES")
    if not any(records.failure_count for records in groups.values()):
        return NotEstimable(reason="NO_FAILURES")
    table = _table(list(groups.values()))
    # Whoever still ran at the first failure is comparable; nobody joins later.
    present = table.at_risk[:, 0] > 0.0
    if np.count_nonzero(present) < 2:
        return NotEstimable(reason="FEWER_THAN_TWO_GROUPS")
    differences, covariance = _moments(table, present)
    if not covariance.any():
        return NotEstimable(reason="ALL_FAILED_AT_ONCE")
    return _test(groups, present, differences, covariance)


def _table(groups: list[LifeRecords]) -> _Table:
    """Count failures and units at risk at every count with a failure."""
    at = np.unique(np.concatenate([_failures(group)[0] for group in groups]))
    failures, at_risk = [], []
    for group in groups:
        cycles, counts = _failures(group)
        failures.append(np.bincount(np.searchsorted(at, cycles), counts, minlength=at.size))
        # Records are sorted by their low end, which is the life of every unit here.
        reached = np.searchsorted(group.low_cycles, at, side="left")
        units_before = np.concatenate([[0.0], np.cumsum(group.counts)])
        at_risk.append(units_before[-1] - units_before[reached])
    return _Table(np.array(failures), np.array(at_risk))


def _failures(group: LifeRecords) -> tuple[FloatArray, FloatArray]:
    """Counts of cycles at which units of a group failed, and how many."""
    failed = np.isfinite(group.high_cycles)
    return group.low_cycles[failed], group.counts[failed]


def _moments(table: _Table, present: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Failures beyond the expected ones per present group, and their covariance."""
    failures, at_risk = table.failures[present], table.at_risk[present]
    failed, units = failures.sum(axis=0), at_risk.sum(axis=0)
    shares = at_risk / units
    differences = failures.sum(axis=1) - shares @ failed
    # A last unit alone has no variance; the quotient 0 / 0 is 0 there.
    spread = failed * (units - failed) / np.maximum(units - 1.0, 1.0)
    covariance = np.diag(shares @ spread) - (shares * spread) @ shares.T
    return differences, covariance


def _test(
    groups: Mapping[str, LifeRecords],
    present: BoolArray,
    differences: FloatArray,
    covariance: FloatArray,
) -> LogRankTest:
    """The statistic, its p-value and the tally in the words of the answer."""
    kept = differences[:-1]
    statistic = float(kept @ np.linalg.solve(covariance[:-1, :-1], kept))
    freedom = differences.size - 1
    tallies = []
    left_out = []
    beyond = iter(differences)
    for (name, records), takes_part in zip(groups.items(), present, strict=True):
        seen = records.failure_count
        if takes_part:
            tally = GroupTally(
                name=name,
                unit_count=records.unit_count,
                failure_count=seen,
                expected_failures=seen - float(next(beyond)),
            )
            tallies.append(tally)
        else:
            stopped = GroupLeftOut(
                name=name,
                unit_count=records.unit_count,
                failure_count=seen,
                reason="STOPPED_BEFORE_FIRST_FAILURE",
            )
            left_out.append(stopped)
    has_few = min(tally.expected_failures for tally in tallies) < LEAST_EXPECTED
    notes = {"LOW_POWER": has_few, "GROUPS_LEFT_OUT": bool(left_out)}
    return LogRankTest(
        groups=tuple(tallies),
        left_out=tuple(left_out),
        statistic=statistic,
        degrees_of_freedom=freedom,
        p_value=float(special.chdtrc(freedom, statistic)),
        notes=tuple(code for code, applies in notes.items() if applies),
    )
