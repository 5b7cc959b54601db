"""Sequential plans by counting, played many times: a check of the exact recursion."""

import math

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from analysis.checks import BoolArray, check_count, check_fraction
from analysis.errors import OutsideDomainError
from schemas.test_plans import CountedStops, ExactOutcome

IntArray = NDArray[np.int64]

_BLOCK = 16_384  # Tests played together: their numbers stay in the cache of one core.


class PlayedTests(Struct, frozen=True, kw_only=True):
    """Simulated tests one by one: whether each accepted, and the units it ran."""

    accepted: BoolArray
    unit_counts: IntArray


class _StopsByFailures(Struct, frozen=True, kw_only=True):
    """
    By number of failures: the unit that stops a test in which no further failure comes,
    whether it then accepts, and the last unit at which a failure with this number refuses.
    """

    stop_by: list[int]
    accepts: list[bool]
    refuse_by: list[int]


def played_tests(
    plan: CountedStops, reliability: float, *, test_count: int, rng: np.random.Generator
) -> PlayedTests:
    """
    Play a truncated plan by counting many times.

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
    PlayedTests
        In the order of play; the tests are independent.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range, or stops fall before the last unit.

    Notes
    -----
    Between two failures the count stands still, so the next stop is known: one draw, the
    gap to the next failure, replaces a draw for every unit. The gap is geometric, drawn
    as the floor of an exponential, which has exactly that distribution.

    Examples
    --------
    >>> plan = CountedStops(accept_at=(-1, 0), reject_at=(1, 1))
    >>> played = played_tests(plan, 0.9, test_count=100_000, rng=np.random.default_rng(1))
    >>> bool(abs(played.accepted.mean() - 0.81) < 0.005), int(played.unit_counts.max())
    (True, 2)
    """
    check_fraction("reliability", reliability)
    tests = check_count("test_count", test_count, least=1)
    stops = _stops_by_failures(plan)
    accepted = np.empty(tests, dtype=np.bool_)
    units = np.empty(tests, dtype=np.int64)
    mean_gap = -1.0 / math.log(reliability)
    for start in range(0, tests, _BLOCK):
        part = slice(start, min(start + _BLOCK, tests))
        _play(accepted[part], units[part], stops, mean_gap, rng)
    return PlayedTests(accepted=accepted, unit_counts=units)


def simulated_outcome(
    plan: CountedStops, reliability: float, *, test_count: int, rng: np.random.Generator
) -> ExactOutcome:
    """
    Share of simulated tests that a truncated plan by counting accepts.

    Parameters and errors are those of `played_tests`.

    Returns
    -------
    ExactOutcome
        The shares, in the place of the chances.

    Examples
    --------
    >>> plan = CountedStops(accept_at=(-1, 0), reject_at=(1, 1))
    >>> outcome = simulated_outcome(
    ...     plan, 0.9, test_count=100_000, rng=np.random.default_rng(1)
    ... )
    >>> abs(outcome.chance_of_acceptance - 0.81) < 0.005
    True
    """
    played = played_tests(plan, reliability, test_count=test_count, rng=rng)
    share = float(played.accepted.mean())
    return ExactOutcome(
        true_level=reliability,
        chance_of_acceptance=share,
        chance_of_refusal=1.0 - share,
        mean_length=float(played.unit_counts.mean()),
    )


def _stops_by_failures(plan: CountedStops) -> _StopsByFailures:
    """The plan read the other way round: from the number of failures to the unit."""
    accept_at, refuse_at = np.array(plan.accept_at), np.array(plan.reject_at)
    # The last unit decides every count, so that it alone may ask less than those before.
    for name, stops in (("accept_at", accept_at[:-1]), ("reject_at", refuse_at[:-1])):
        if (np.diff(stops) < 0).any():
            raise OutsideDomainError(name, "falling stops", "not falling before the last unit")
    last = accept_at.size
    counts = np.arange(int(refuse_at.max()) + 2)
    first = np.searchsorted(np.maximum.accumulate(accept_at), counts) + 1
    return _StopsByFailures(
        stop_by=np.minimum(first, last).tolist(),
        accepts=(first <= last).tolist(),
        refuse_by=np.searchsorted(refuse_at[:-1], counts, side="right").tolist(),
    )


def _play(
    accepted: BoolArray,
    units: IntArray,
    stops: _StopsByFailures,
    mean_gap: float,
    rng: np.random.Generator,
) -> None:
    """Play one block of tests into the two arrays, failure by failure."""
    going = np.arange(units.size)
    at = np.zeros(units.size)
    failures = 0
    while going.size:
        gap = rng.standard_exponential(going.size)
        gap *= mean_gap
        np.floor(gap, out=gap)
        gap += at
        gap += 1.0  # unit at which the next failure comes
        stopped = gap > stops.stop_by[failures]
        ended = going[stopped]
        accepted[ended] = stops.accepts[failures]
        units[ended] = stops.stop_by[failures]
        failures += 1
        refused = gap <= stops.refuse_by[failures]
        ended = going[refused]
        accepted[ended] = False
        units[ended] = gap[refused]
        stopped |= refused
        np.logical_not(stopped, out=stopped)
        going, at = going[stopped], gap[stopped]
