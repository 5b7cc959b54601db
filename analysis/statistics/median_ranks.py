"""Plotting positions: places in the order of failure, and the fractions that go with them."""

import numpy as np
from scipy import special

from analysis.checks import FloatArray, check_count
from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import LifeRecords
from schemas.estimates import NotEstimable
from schemas.ranks import PlottingPositions, RankRule


def plotting_positions(
    records: LifeRecords, *, rank_rule: RankRule
) -> PlottingPositions | NotEstimable:
    """
    Fraction failed at which each failure of a lot is to be plotted.

    Parameters
    ----------
    records : LifeRecords
        Lives of the lot; at one count failures come before units that stopped there.
    rank_rule : {"MEDIAN", "BENARD"}, keyword only
        Median of the failure's place by the beta distribution, or its approximation
        ``(rank - 0.3) / (units + 0.4)``.

    Returns
    -------
    PlottingPositions or NotEstimable
        One entry per failed unit, in order of life; or ``NO_FAILURES``, or
        ``BRACKETED_LIVES`` where a failure is known only between two counts and so has
        no place in the order.

    Raises
    ------
    OutsideDomainError
        If `rank_rule` is neither of the two.

    Notes
    -----
    Adjusted ranks after L. G. Johnson, "The Statistical Treatment of Fatigue
    Experiments", 1964, and the approximation after A. Benard (both from memory).

    Examples
    --------
    Three units, the second stopped without failing:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([41_000, 47_000, 60_000], [True, False, True])
    >>> plotting_positions(lives, rank_rule="BENARD").adjusted_ranks
    (1.0, 2.5)
    """
    ranks = adjusted_ranks(records)
    if isinstance(ranks, NotEstimable):
        return ranks
    unit_count = records.unit_count
    failed = np.isfinite(records.high_cycles)
    lives = np.repeat(records.low_cycles[failed], records.counts[failed].astype(np.int64))
    positions = median_ranks(ranks, unit_count=unit_count, rank_rule=rank_rule)
    return PlottingPositions(
        rank_rule=rank_rule,
        life_cycles=tuple(lives.tolist()),
        adjusted_ranks=tuple(ranks.tolist()),
        positions=tuple(positions.tolist()),
        unit_count=unit_count,
        failure_count=int(lives.size),
    )


def adjusted_ranks(records: LifeRecords) -> FloatArray | NotEstimable:
    """
    Place of each failure in the order of failure, raised for units that stopped before it.

    Parameters
    ----------
    records : LifeRecords
        Lives of the lot; failures come before units that stopped at the same count.

    Returns
    -------
    numpy.ndarray or NotEstimable
        One rank per failed unit, rising, from 1 to the number of units; or
        ``NO_FAILURES`` or ``BRACKETED_LIVES``.

    Notes
    -----
    With n units and m of them still running (this one included) the rank rises by
    ``(n + 1 - last rank) / (1 + m)`` at each failure (L. G. Johnson 1964, from memory). So
    ``n + 1 - rank`` shrinks by the factor ``m / (m + 1)`` each time, which is the form
    computed here.

    Examples
    --------
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([30, 10, 45, 49], [True, False, False, True])
    >>> adjusted_ranks(lives)
    array([1.25 , 3.125])
    """
    if records.has_brackets:
        return NotEstimable(reason="BRACKETED_LIVES")
    failed = np.isfinite(records.high_cycles)
    if not failed.any():
        return NotEstimable(reason="NO_FAILURES")
    # Sorted by both ends, a failure's inf-free pair stands before a run-out's at one count.
    before = np.cumsum(records.counts) - records.counts
    repeats = records.counts[failed].astype(np.int64)
    total = float(records.counts.sum())
    first_in_tie = np.cumsum(repeats) - repeats
    place_in_tie = np.arange(int(repeats.sum())) - np.repeat(first_in_tie, repeats)
    running = total - np.repeat(before[failed], repeats) - place_in_tie
    remaining = (total + 1.0) * np.cumprod(running / (running + 1.0))
    before_each = np.concatenate(([total + 1.0], remaining[:-1]))
    # Adding the rises keeps the digits of small ranks; n + 1 - remaining would lose them.
    ranks: FloatArray = np.cumsum(before_each / (running + 1.0))
    return ranks


def median_ranks(ranks: FloatArray, *, unit_count: int, rank_rule: RankRule) -> FloatArray:
    """
    Fractions failed that go with places in the order of failure.

    Parameters
    ----------
    ranks : array_like of float, from 1 to `unit_count`
        Places in the order of failure; need not be whole.
    unit_count : int, >= 1, keyword only
        Units in all, failed or not.
    rank_rule : {"MEDIAN", "BENARD"}, keyword only
        As `plotting_positions`.

    Returns
    -------
    numpy.ndarray
        Fractions strictly between 0 and 1.

    Raises
    ------
    OutsideDomainError
        If a rank is not between 1 and `unit_count`, or `rank_rule` is unknown.

    Notes
    -----
    The i-th of n ordered uniform values follows Beta(i, n - i + 1); its median is the
    MEDIAN rank (textbook fact, from memory).

    Examples
    --------
    The median of the first of five, ``1 - 0.5 ** (1 / 5)``, and its approximation:

    >>> import numpy as np
    >>> first = np.array([1.0])
    >>> [median_ranks(first, unit_count=5, rank_rule=r).round(4) for r in ("MEDIAN", "BENARD")]
    [array([0.1294]), array([0.1296])]
    """
    total = check_count("unit_count", unit_count, least=1)
    places = np.asarray(ranks, dtype=np.float64)
    slack = 1e-9 * total  # Sums of fractional rises may end a rounding error past n.
    if not bool(((places >= 1.0 - slack) & (places <= total + slack)).all()):
        raise OutsideDomainError("ranks", places.tolist(), f"from 1 to unit_count, {total}")
    places = np.clip(places, 1.0, float(total))
    if rank_rule == "BENARD":
        return (places - 0.3) / (total + 0.4)
    if rank_rule == "MEDIAN":
        return np.asarray(special.betaincinv(places, total - places + 1.0, 0.5))
    raise OutsideDomainError("rank_rule", rank_rule, '"MEDIAN" or "BENARD"')
