"""Exact chances and lengths of truncated sequential plans, by recursion over their stops."""

import math
from collections.abc import Sequence

import numpy as np
from scipy import special

from analysis.checks import FloatArray, check_count, check_fraction, check_positive
from analysis.errors import OutsideDomainError
from schemas.test_plans import (
    CountedStops,
    ExactOutcome,
    SequentialLines,
    SequentialTimeLines,
    TimedStops,
)

_SLACK = 1e-12  # A line through a whole number of failures must not miss it by rounding.


def truncated_counted_plan(
    lines: SequentialLines, unit_count: int, *, allowed_failures: int
) -> CountedStops:
    """
    Stops of a plan by counting that follows Wald's lines and ends for certain.

    Parameters
    ----------
    lines : SequentialLines
        Lines to follow.
    unit_count : int, >= 1
        Units after which the plan ends.
    allowed_failures : int, >= 0, keyword only
        Most failures with which it then accepts.

    Returns
    -------
    CountedStops

    Raises
    ------
    OutsideDomainError
        If a count is out of its range.

    Examples
    --------
    >>> from analysis.statistics.sequential_lines import sequential_lines
    >>> lines = sequential_lines(0.95, 0.85, producer_risk=0.10, consumer_risk=0.10)
    >>> stops = truncated_counted_plan(lines, 90, allowed_failures=8)
    >>> stops.accept_at.index(0) + 1, stops.accept_at[-1], stops.reject_at[-1]
    (20, 8, 9)
    """
    last = check_count("unit_count", unit_count, least=1)
    allowed = check_count("allowed_failures", allowed_failures, least=0, most=last)
    accept_at, reject_at = [], []
    for units in range(1, last):
        middle = lines.slope * units
        accept_at.append(max(-1, math.floor(middle - lines.accept_intercept + _SLACK)))
        reject_at.append(math.ceil(middle + lines.reject_intercept - _SLACK))
    return CountedStops(accept_at=(*accept_at, allowed), reject_at=(*reject_at, allowed + 1))


def truncated_timed_plan(
    lines: SequentialTimeLines, last_total: float, *, allowed_failures: int
) -> TimedStops:
    """
    Stops of a plan on a total that follows Wald's lines and ends for certain.

    Parameters
    ----------
    lines : SequentialTimeLines
        Lines to follow.
    last_total : float, finite, > 0
        Total at which the plan ends by accepting. Unit of the lines.
    allowed_failures : int, >= 0, keyword only
        Most failures with which it then accepts; one more refuses whenever it comes.

    Returns
    -------
    TimedStops

    Raises
    ------
    OutsideDomainError
        If an argument is out of its range.

    Examples
    --------
    >>> from analysis.statistics.sequential_lines import sequential_time_lines
    >>> lines = sequential_time_lines(
    ...     2.0, 1.0, shape=1.0, producer_risk=0.10, consumer_risk=0.10
    ... )
    >>> stops = truncated_timed_plan(lines, 20.6, allowed_failures=15)
    >>> [round(total, 2) for total in stops.accept_totals[:3]], stops.accept_totals[-1]
    ([4.39, 5.78, 7.17], 20.6)
    >>> min(stops.reject_totals), round(stops.reject_totals[4], 2), stops.reject_totals[16]
    (4, 1.15, 20.6)
    """
    last = check_positive("last_total", last_total)
    allowed = check_count("allowed_failures", allowed_failures, least=0)
    accept = [lines.accept_intercept + lines.slope * r for r in range(allowed + 1)]
    refuse = {r: lines.slope * r - lines.reject_intercept for r in range(1, allowed + 1)}
    return TimedStops(
        accept_totals=tuple(min(total, last) for total in accept),
        reject_totals={r: min(total, last) for r, total in refuse.items() if total > _SLACK}
        | {allowed + 1: last},
    )


def counted_outcome(plan: CountedStops, reliabilities: Sequence[float]) -> list[ExactOutcome]:
    """
    Exact chance of acceptance and mean number of units of a plan by counting.

    Parameters
    ----------
    plan : CountedStops
        Stops after each unit.
    reliabilities : sequence of float, fractions
        True reliabilities at the target.

    Returns
    -------
    list of ExactOutcome
        One per reliability; `mean_length` in units.

    Raises
    ------
    OutsideDomainError
        If a reliability is no fraction, the lists differ in length, or the last unit
        leaves a count undecided.

    Notes
    -----
    The chance of each number of failures among those still going on is carried from unit
    to unit; what reaches a stop leaves. No approximation.

    Examples
    --------
    >>> from analysis.statistics.sequential_lines import sequential_lines
    >>> lines = sequential_lines(0.95, 0.85, producer_risk=0.10, consumer_risk=0.10)
    >>> plan = truncated_counted_plan(lines, 90, allowed_failures=8)
    >>> [outcome] = counted_outcome(plan, [0.95])
    >>> round(outcome.chance_of_acceptance, 4), round(outcome.mean_length, 2)
    (0.9291, 36.85)
    """
    _check_counted(plan)
    true = np.array([check_fraction("reliability", each) for each in reliabilities])
    survive, fail = true[:, None], (1.0 - true)[:, None]
    going = np.zeros((true.size, max(plan.reject_at) + 2))
    going[:, 0] = 1.0
    accepted, refused, length = (np.zeros(true.size) for _ in range(3))
    counts = np.arange(going.shape[1])
    for accept_at, reject_at in zip(plan.accept_at, plan.reject_at, strict=True):
        length += going.sum(axis=1)
        going[:, 1:] = going[:, 1:] * survive + going[:, :-1] * fail
        going[:, :1] *= survive
        accepted += _leave(going, counts <= accept_at)
        refused += _leave(going, counts >= reject_at)
    return _outcomes(true, accepted, refused, length)


def lot_acceptance(plan: CountedStops, lot_size: int, *, nonconforming: int) -> float:
    """
    Exact chance that a plan by counting accepts a lot of known size.

    Parameters
    ----------
    plan : CountedStops
        Stops after each unit, no more units than the lot holds.
    lot_size : int, >= 1
        Units in the lot before sampling.
    nonconforming : int, 0 to lot_size, keyword only
        Of which so many fail; units are drawn at random and not put back.

    Returns
    -------
    float

    Raises
    ------
    OutsideDomainError
        If a count is out of its range, or the plan has more stops than the lot units.

    Examples
    --------
    Two of three units, one of which is bad, both good: one chance in three.

    >>> plan = CountedStops(accept_at=(-1, 0), reject_at=(1, 1))
    >>> round(lot_acceptance(plan, 3, nonconforming=1), 12)
    0.333333333333
    """
    _check_counted(plan)
    size = check_count("lot_size", lot_size, least=len(plan.accept_at))
    bad = check_count("nonconforming", nonconforming, least=0, most=size)
    going = np.zeros((1, max(plan.reject_at) + 2))
    going[:, 0] = 1.0
    counts = np.arange(going.shape[1])
    accepted = 0.0
    for drawn, (accept_at, reject_at) in enumerate(
        zip(plan.accept_at, plan.reject_at, strict=True)
    ):
        fails = np.clip((bad - counts) / (size - drawn), 0.0, 1.0)
        failed = going * fails
        going = going - failed
        going[:, 1:] += failed[:, :-1]
        accepted += float(_leave(going, counts <= accept_at)[0])
        _leave(going, counts >= reject_at)
    return min(accepted, 1.0)


def timed_outcome(plan: TimedStops, means: Sequence[float]) -> list[ExactOutcome]:
    """
    Exact chance of acceptance and mean total of a truncated plan on a total.

    Parameters
    ----------
    plan : TimedStops
        Totals at which it accepts, totals up to which a failure refuses.
    means : sequence of float, finite, > 0
        True means between failures, in the unit of the totals.

    Returns
    -------
    list of ExactOutcome
        One per mean; `mean_length` in the unit of the totals.

    Raises
    ------
    OutsideDomainError
        If a mean or a total is not above 0, totals fall with the number of failures, or
        the plan does not end.

    Notes
    -----
    Failures come as a Poisson process in the total. Between two stops the count that
    refuses stays the same, so the chances of each count follow from Poisson increments
    without approximation, and the mean total from their integrals.

    Examples
    --------
    Accept at 2 without a failure, at 3 with one; a second failure refuses:

    >>> plan = TimedStops(accept_totals=(2.0, 3.0), reject_totals={2: 3.0})
    >>> [outcome] = timed_outcome(plan, [1.0])
    >>> round(outcome.chance_of_acceptance, 4)
    0.2349

    Checked by hand: exp(-2) + 2 exp(-2) exp(-1).
    """
    refuse_from = _check_timed(plan)
    true = np.array([check_positive("mean", each) for each in means])
    counts = len(plan.accept_totals)
    going = np.zeros((true.size, counts))
    going[:, 0] = 1.0
    accepted, length, at = np.zeros(true.size), np.zeros(true.size), 0.0
    stops = sorted({*plan.accept_totals, *plan.reject_totals.values()})
    for stop in stops:
        # The smallest number of failures that refuses up to this stop bounds the counts.
        bound = min((r for r, total in refuse_from.items() if total >= stop), default=counts)
        going[:, bound:] = 0.0
        going, spent = _advance(going, true, stop - at, bound)
        length += spent
        accepted += _leave(going, np.array(plan.accept_totals) <= stop)
        at = stop
    # Rounding may carry a sum of chances past 1 by a few units of its last place.
    accepted = np.minimum(accepted, 1.0)
    return _outcomes(true, accepted, 1.0 - accepted, length)


def _leave(going: FloatArray, stopped: np.ndarray) -> FloatArray:
    """Chance that reaches a stop, taken out of what goes on."""
    left: FloatArray = going[:, stopped].sum(axis=1)
    going[:, stopped] = 0.0
    return left


def _advance(
    going: FloatArray, means: FloatArray, span: float, bound: int
) -> tuple[FloatArray, FloatArray]:
    """Chances after a span of the total, and the part of it spent still going on."""
    jumps = np.arange(going.shape[1])
    expected = (span / means)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = np.exp(special.xlogy(jumps, expected) - expected - special.gammaln(jumps + 1.0))
    # Integral of a Poisson chance over the span: mean times P(Gamma(j + 1) <= span / mean).
    spent = means[:, None] * special.gammainc(jumps + 1.0, expected)
    after, stayed = np.zeros_like(going), np.zeros(means.size)
    for start in range(bound):
        reach = bound - start
        after[:, start:bound] += going[:, start : start + 1] * chance[:, :reach]
        stayed += going[:, start] * spent[:, :reach].sum(axis=1)
    return after, stayed


def _outcomes(
    levels: FloatArray, accepted: FloatArray, refused: FloatArray, length: FloatArray
) -> list[ExactOutcome]:
    return [
        ExactOutcome(
            true_level=float(levels[i]),
            chance_of_acceptance=float(accepted[i]),
            chance_of_refusal=float(refused[i]),
            mean_length=float(length[i]),
        )
        for i in range(levels.size)
    ]


def _check_counted(plan: CountedStops) -> None:
    if len(plan.accept_at) != len(plan.reject_at) or not plan.accept_at:
        raise OutsideDomainError(
            "reject_at", f"{len(plan.reject_at)} stops", "as many stops as accept_at, 1 or more"
        )
    if plan.accept_at[-1] + 1 < plan.reject_at[-1]:
        raise OutsideDomainError("reject_at", plan.reject_at[-1], "decided after the last unit")


def _check_timed(plan: TimedStops) -> dict[int, float]:
    """Refuse stops that do not end the plan; give the totals up to which failures refuse."""
    totals = plan.accept_totals
    for index, total in enumerate(totals):
        check_positive(f"accept_totals[{index}]", total)
        if index and total < totals[index - 1]:
            raise OutsideDomainError(f"accept_totals[{index}]", total, "not below the one before")
    if not totals or plan.reject_totals.get(len(totals), 0.0) < totals[-1]:
        raise OutsideDomainError(
            "reject_totals", len(totals), "given up to the end for one failure more than accepts"
        )
    return dict(plan.reject_totals)
