"""Lives of a lot as a fit takes them, and the Weibull fit beside a verdict; it decides nothing."""

import math
from collections.abc import Sequence

import numpy as np

from analysis.errors import DidNotConvergeError
from analysis.statistics.life_records import LifeRecords, life_records
from analysis.statistics.weibull import weibull_fit
from schemas.estimates import NotEstimable, WeibullFit
from schemas.lives import Outcome


def observed_lives(outcomes: Sequence[Outcome]) -> LifeRecords | NotEstimable:
    """
    What a fit may use of the lives of a lot.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One per unit. A failed unit enters with its exact life, or with the two counts
        between which it failed; every other one as unbroken at its credited cycles. A unit
        without credited cycles says nothing and is left out, a void one above all.

    Returns
    -------
    LifeRecords or NotEstimable
        The reason is ``FAILURE_AT_ZERO_CYCLES`` where a unit was found failed before its
        first cycle: no life distribution has such a life.

    Examples
    --------
    >>> from schemas.lives import Outcome
    >>> found = observed_lives(
    ...     [
    ...         Outcome(
    ...             ending="FAILED_BETWEEN",
    ...             credited_cycles=40_000,
    ...             most_cycles=50_000,
    ...             failed=True,
    ...             has_ended=True,
    ...             cycles_low=40_000,
    ...             cycles_high=50_000,
    ...         )
    ...     ]
    ... )
    >>> found.low_cycles, found.high_cycles
    (array([40000.]), array([50000.]))
    """
    ends = [each for outcome in outcomes if (each := life_ends(outcome)) is not None]
    if any(high <= 0.0 for _, high in ends):
        return NotEstimable(reason="FAILURE_AT_ZERO_CYCLES")
    return life_records([low for low, _ in ends], [high for _, high in ends])


def life_ends(outcome: Outcome) -> tuple[float, float] | None:
    """
    The two ends of a unit's life as a fit takes it: the one place that says so.

    Returns
    -------
    tuple of float, or None
        Equal for a failure at a known count; inf at the high end for a unit that did not
        fail, at the low end its credited cycles; None for a unit that says nothing.
    """
    if not outcome.failed:
        credited = float(outcome.credited_cycles)
        return (credited, math.inf) if credited > 0.0 else None
    if outcome.cycles is not None:
        return float(outcome.cycles), float(outcome.cycles)
    high = outcome.most_cycles if outcome.cycles_high is None else outcome.cycles_high
    return float(outcome.cycles_low or 0), float(high)


def fit_lives(outcomes: Sequence[Outcome]) -> WeibullFit | NotEstimable:
    """
    Fit a two-parameter Weibull to the lives of a lot, or say why there is none.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One per unit; they enter as `observed_lives` says.

    Returns
    -------
    WeibullFit or NotEstimable
        The reason is ``BRACKETED_LIVES`` while a life is known only between two
        counts, ``DID_NOT_CONVERGE`` if the search did not settle, else one of
        `schemas.estimates.NotEstimable`.
    """
    if any(outcome.failed and outcome.cycles is None for outcome in outcomes):
        return NotEstimable(reason="BRACKETED_LIVES")
    if not any(outcome.failed for outcome in outcomes):
        return NotEstimable(reason="NO_FAILURES")
    records = observed_lives(outcomes)
    if isinstance(records, NotEstimable):
        return records
    try:
        return weibull_fit(
            records.low_cycles,
            np.isfinite(records.high_cycles),
            counts=records.counts.astype(np.int64),
        )
    except DidNotConvergeError:
        return NotEstimable(reason="DID_NOT_CONVERGE")
