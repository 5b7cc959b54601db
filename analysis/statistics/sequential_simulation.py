"""Sequential plans by counting, played many times: a check of the exact recursion."""

import numpy as np
from numpy.typing import NDArray

from analysis.checks import check_count, check_fraction
from schemas.test_plans import CountedStops, ExactOutcome

IntArray = NDArray[np.int64]


def simulated_outcome(
    plan: CountedStops, reliability: float, *, test_count: int, rng: np.random.Generator
) -> ExactOutcome:
    """
    Share of simulated tests that a truncated plan by counting accepts.

    Parameters
    ----------
    plan : CountedStops
        Stops after each unit, as for `sequential_exact.counted_outcome`.
    reliability : float, 0 < reliability < 1
        True reliability at the target.
    test_count : int, >= 1, keyword only
        Tests to play.
    rng : numpy.random.Generator, keyword only
        Source of chance; the same seed gives the same answer.

    Returns
    -------
    ExactOutcome
        The shares, in the place of the chances.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    Between two failures the count stands still, so the next stop is known: one geometric
    draw, the gap to the next failure, replaces a draw for every unit.

    Examples
    --------
    >>> plan = CountedStops(accept_at=(-1, 0), reject_at=(1, 1))
    >>> outcome = simulated_outcome(
    ...     plan, 0.9, test_count=100_000, rng=np.random.default_rng(1)
    ... )
    >>> abs(outcome.chance_of_acceptance - 0.81) < 0.005
    True
    """
    check_fraction("reliability", reliability)
    tests = check_count("test_count", test_count, least=1)
    accept_at, refuse_at = np.array(plan.accept_at), np.array(plan.reject_at)
    accepted, failures, units_run = 0, 0, 0
    at = np.ones(tests, dtype=np.int64)  # unit from which each test still going on is asked
    while at.size:
        accepts = _first_from(at, np.flatnonzero(accept_at >= failures) + 1)
        refuses = _first_from(at, np.flatnonzero(refuse_at <= failures) + 1)
        stop = np.minimum(accepts, refuses)
        # The first gap starts before the first unit, a later one at the failure's unit.
        next_failure = at + rng.geometric(1.0 - reliability, at.size) - (failures == 0)
        ends = stop < next_failure
        accepted += int((accepts < refuses)[ends].sum())
        units_run += int(stop[ends].sum())
        at, failures = next_failure[~ends], failures + 1
    return ExactOutcome(
        true_level=reliability,
        chance_of_acceptance=accepted / tests,
        chance_of_refusal=1.0 - accepted / tests,
        mean_length=units_run / tests,
    )


def _first_from(at: IntArray, units: IntArray) -> IntArray:
    """For each place the first of `units`, in ascending order, that is not before it."""
    never = np.append(units, np.iinfo(np.int64).max)
    return never[np.searchsorted(units, at)]
