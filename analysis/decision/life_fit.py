"""The Weibull fit beside a verdict: an estimate of the lot's lives that decides nothing."""

from collections.abc import Sequence

from analysis.errors import DidNotConvergeError
from analysis.statistics.weibull import weibull_fit
from schemas.estimates import NotEstimable, WeibullFit
from schemas.lives import Outcome


def fit_lives(outcomes: Sequence[Outcome]) -> WeibullFit | NotEstimable:
    """
    Fit a two-parameter Weibull to the lives of a lot, or say why there is none.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One per unit. A failed unit enters with its exact life, every other one as
        unbroken at its credited cycles. A unit without credited cycles says nothing
        and is left out, a void one above all.

    Returns
    -------
    WeibullFit or NotEstimable
        The reason is ``BRACKETED_LIVES`` while a life is known only between two
        counts, ``DID_NOT_CONVERGE`` if the search did not settle, else one of
        `schemas.estimates.NotEstimable`.
    """
    failed = [outcome.cycles for outcome in outcomes if outcome.failed]
    exact = [cycles for cycles in failed if cycles is not None]
    if len(exact) < len(failed):
        return NotEstimable(reason="BRACKETED_LIVES")
    if not exact:
        return NotEstimable(reason="NO_FAILURES")
    unbroken = [
        outcome.credited_cycles
        for outcome in outcomes
        if not outcome.failed and outcome.credited_cycles > 0
    ]
    try:
        return weibull_fit(exact + unbroken, [True] * len(exact) + [False] * len(unbroken))
    except DidNotConvergeError:
        return NotEstimable(reason="DID_NOT_CONVERGE")
