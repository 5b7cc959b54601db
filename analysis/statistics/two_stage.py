"""Plans with a second stage that is declared, and paid for, before the first cycle."""

import math

from scipy import optimize

from analysis.checks import check_count, check_fraction, check_positive
from analysis.errors import OutsideDomainError
from analysis.statistics.rounding import reaches
from analysis.statistics.sequential_exact import counted_outcome, timed_outcome
from schemas.test_plans import CountedStops, TimedStops

_MOST_UNITS = 100_000
_SLACK = 1e-12


def two_stage_lives(
    first_lives: float, second_lives: float, *, first_allowed: int, second_allowed: int
) -> TimedStops:
    """
    Stops of a plan on target lives with two stages.

    Parameters
    ----------
    first_lives, second_lives : float, > 0
        Sums of target lives at which the first and the second stage end; the second
        includes the first.
    first_allowed, second_allowed : int, keyword only
        Most failures with which each stage accepts, the second more than the first.

    Returns
    -------
    TimedStops
        For `sequential_exact.timed_outcome`. Failure ``second_allowed + 1`` refuses.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range, or the second stage adds nothing.

    Examples
    --------
    >>> two_stage_lives(48.0, 99.78, first_allowed=0, second_allowed=1).accept_totals
    (48.0, 99.78)
    """
    first, second = _allowed(first_allowed, second_allowed)
    begins = check_positive("first_lives", first_lives)
    ends = check_positive("second_lives", second_lives)
    if ends <= begins:
        raise OutsideDomainError("second_lives", ends, f"above first_lives, {begins}")
    totals = (begins,) * (first + 1) + (ends,) * (second - first)
    return TimedStops(accept_totals=totals, reject_totals={second + 1: ends})


def second_stage_lives(
    first_lives: float,
    *,
    first_allowed: int,
    second_allowed: int,
    reliability: float,
    confidence: float,
) -> float:
    """
    Smallest sum of target lives of a second stage with which the whole keeps its promise.

    Parameters
    ----------
    first_lives : float, > 0
        Sum at which the first stage ends. More than a single plan of so many failures
        needs: what it leaves of the risk is what the second stage may spend.
    first_allowed, second_allowed : int, keyword only
    reliability, confidence : float, fractions, keyword only

    Returns
    -------
    float
        Target lives in all, those of the first stage included.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range, or the first stage alone spends all of the risk.

    Notes
    -----
    Failures are a Poisson process in target lives, so the chance of acceptance of both
    stages together is a finite sum; nothing is approximated.

    Examples
    --------
    Twelve units to twice the target at shape 2, and one failure forgiven later:

    >>> round(
    ...     second_stage_lives(
    ...         48.0, first_allowed=0, second_allowed=1, reliability=0.95, confidence=0.90
    ...     ),
    ...     2,
    ... )
    99.78
    """
    first, second = _allowed(first_allowed, second_allowed)
    begins = check_positive("first_lives", first_lives)
    allowed = -math.log(check_fraction("reliability", reliability))
    most_risk = 1.0 - check_fraction("confidence", confidence)
    alone = TimedStops(accept_totals=(begins,) * (first + 1), reject_totals={first + 1: begins})
    spent = timed_outcome(alone, [1.0 / allowed])[0].chance_of_acceptance
    if spent >= most_risk * (1.0 - _SLACK):
        raise OutsideDomainError(
            "first_lives", begins, "long enough to leave some risk to a second stage"
        )

    def excess(lives: float) -> float:
        stops = two_stage_lives(begins, lives, first_allowed=first, second_allowed=second)
        [outcome] = timed_outcome(stops, [1.0 / allowed])
        return outcome.chance_of_acceptance - most_risk

    low, high = begins * (1.0 + 1e-9), 2.0 * begins + 4.0 * (second + 1) / allowed
    while excess(high) > 0.0:
        high *= 2.0
    if excess(low) <= 0.0:
        return low
    found = float(optimize.brentq(excess, low, high, xtol=1e-12, rtol=1e-14))
    # The promise is kept from the side of more lives.
    return found * (1.0 + 1e-13) if excess(found) > 0.0 else found


def two_stage_counts(
    first_units: int, second_units: int, *, first_allowed: int, second_allowed: int
) -> CountedStops:
    """
    Stops of a plan by counting with two stages.

    Parameters
    ----------
    first_units : int, >= 1
        Units of the first stage.
    second_units : int, >= 1
        Units that the second stage adds.
    first_allowed, second_allowed : int, keyword only
        Most failures among the units so far with which each stage accepts.

    Returns
    -------
    CountedStops
        For `sequential_exact.counted_outcome`. It accepts at the end of a stage only, and
        refuses as soon as more have failed than the second stage allows.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range, or no failure more is allowed in the second stage.

    Examples
    --------
    >>> plan = two_stage_counts(2, 1, first_allowed=0, second_allowed=1)
    >>> plan.accept_at, plan.reject_at
    ((-1, 0, 1), (2, 2, 2))
    """
    first, second = _allowed(first_allowed, second_allowed)
    begun = check_count("first_units", first_units, least=first + 1, most=_MOST_UNITS)
    added = check_count("second_units", second_units, least=1, most=_MOST_UNITS)
    accept = [-1] * (begun + added)
    accept[begun - 1], accept[-1] = first, second
    return CountedStops(accept_at=tuple(accept), reject_at=(second + 1,) * (begun + added))


def second_stage_units(
    first_units: int,
    *,
    first_allowed: int,
    second_allowed: int,
    reliability: float,
    confidence: float,
) -> int:
    """
    Fewest units of a second stage with which the whole keeps its promise.

    Parameters
    ----------
    first_units : int, >= 1
        More than a single plan of so many failures needs.
    first_allowed, second_allowed : int, keyword only
    reliability, confidence : float, fractions, keyword only
        Required reliability at the count that every unit runs to.

    Returns
    -------
    int
        Units to add.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range, or the first stage alone spends all of the risk.

    Examples
    --------
    Fifty units without a failure; with one failure go on:

    >>> second_stage_units(
    ...     50, first_allowed=0, second_allowed=1, reliability=0.95, confidence=0.90
    ... )
    43
    """
    first, second = _allowed(first_allowed, second_allowed)
    true = check_fraction("reliability", reliability)
    wanted = check_fraction("confidence", confidence)

    def keeps(added: int) -> bool:
        stops = two_stage_counts(first_units, added, first_allowed=first, second_allowed=second)
        [outcome] = counted_outcome(stops, [true])
        return reaches(1.0 - outcome.chance_of_acceptance, wanted)

    alone = CountedStops(
        accept_at=(-1,) * (first_units - 1) + (first,), reject_at=(first + 1,) * first_units
    )
    if not 1.0 - counted_outcome(alone, [true])[0].chance_of_acceptance > wanted:
        raise OutsideDomainError(
            "first_units", first_units, "enough to leave some risk to a second stage"
        )
    low, high = 0, 1
    while not keeps(high):
        low, high = high, 2 * high
        check_count("second_units", high, least=1, most=_MOST_UNITS)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if keeps(middle) else (middle, high)
    return high


def _allowed(first_allowed: int, second_allowed: int) -> tuple[int, int]:
    first = check_count("first_allowed", first_allowed, least=0)
    return first, check_count("second_allowed", second_allowed, least=first + 1)
