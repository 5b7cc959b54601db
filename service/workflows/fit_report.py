"""Everything that can be said about one set of lives: fits, limits, ranks, curves, warnings."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from typing import TypeVar

import numpy as np
from msgspec import UNSET, Struct, UnsetType

from analysis.errors import DidNotConvergeError
from analysis.statistics.bootstrap import Resampling, bootstrap_limits
from analysis.statistics.competing_modes import ModeLives, competing_modes
from analysis.statistics.fisher_limits import fisher_limits
from analysis.statistics.interval_survival import interval_survival
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.likelihood_limits import likelihood_limits
from analysis.statistics.limit_advice import limit_advice
from analysis.statistics.median_ranks import plotting_positions
from analysis.statistics.mixture import mixture_flag
from analysis.statistics.rank_line import rank_line
from analysis.statistics.survival_curve import kaplan_meier, nelson_aalen
from analysis.statistics.threshold_weibull import threshold_weibull_fit
from schemas.estimates import NotEstimable
from schemas.fit_answers import DistributionFit, FitReport, FitWarningCode
from schemas.fit_limits import BootstrapLimits, LimitAdvice
from schemas.fit_requests import FitQuestion
from schemas.fits import Distribution, LifeFit
from schemas.populations import CompetingModes, MixtureFlag
from schemas.ranks import PlottingPositions
from schemas.survival import IntervalSurvival, SurvivalCurve

MOST_POINTS_PLOTTED = 5_000
"""A plotting position stands for one failed unit; beyond this many none are listed."""
MOST_BRACKETED = 500
"""Different lives beyond which survival from brackets would take too long."""
MOST_LIVES_DRAWN = 20_000_000
"""Units times resamples beyond which a bootstrap would take too long."""

Answer = TypeVar("Answer")

_log = logging.getLogger(__name__)


class Lives(Struct, frozen=True, kw_only=True):
    """Lives to fit, and the same with the mode of each failure where modes are known."""

    records: LifeRecords
    with_modes: ModeLives | None = None


def settled(compute: Callable[[], Answer]) -> Answer | NotEstimable:
    """
    What a computation gives; a search that did not settle is an answer too.

    Lives that lie beyond what numbers can hold may stop a search in other ways than by its
    own test; that is logged, so that it can be looked into.

    Examples
    --------
    >>> settled(lambda: 7)
    7
    """
    try:
        return compute()
    except DidNotConvergeError:
        return NotEstimable(reason="DID_NOT_CONVERGE")
    except (ArithmeticError, np.linalg.LinAlgError):
        _log.warning("fit_broke_down", exc_info=True)
        return NotEstimable(reason="DID_NOT_CONVERGE")


def fit_report(lives: Lives, question: FitQuestion) -> FitReport:
    """
    Fit lives and say how far the fits can be trusted.

    Parameters
    ----------
    lives : Lives
    question : FitQuestion
        Its `second_opinion` is left to the caller, who can wait for a library.

    Returns
    -------
    FitReport
        Equal arguments give an equal report; chance comes from the question's seed.

    Raises
    ------
    OutsideDomainError
        If a number of the question is outside the range of a method.
    """
    records = lives.records
    mixture = settled(lambda: mixture_flag(records))
    points = _points(records)
    return FitReport(
        confidence=question.confidence,
        unit_count=records.unit_count,
        failure_count=records.failure_count,
        distributions=[
            _distribution_fit(records, distribution, question)
            for distribution in dict.fromkeys(question.distributions)
        ],
        threshold_weibull=settled(lambda: threshold_weibull_fit(records)),
        plotting_positions=points,
        rank_line=points
        if isinstance(points, NotEstimable)
        else rank_line(records, regressed="CYCLES_ON_POSITION", rank_rule="MEDIAN"),
        survival=_survival(records, question),
        cumulative_hazard=nelson_aalen(records, confidence=question.confidence),
        mixture=mixture,
        warnings=_warnings(records, mixture),
        advice=_advice(records),
        modes=_modes(lives, question),
        bootstrap=_bootstrap(records, question),
    )


def fits_of(
    records: LifeRecords, wanted: Iterable[Distribution]
) -> dict[Distribution, LifeFit | NotEstimable]:
    """Our fit of each distribution, for a library to be compared with."""
    return {each: _fit(records, each) for each in wanted}


def _fit(records: LifeRecords, distribution: Distribution) -> LifeFit | NotEstimable:
    return settled(lambda: life_fit(records, distribution))


def _distribution_fit(
    records: LifeRecords, distribution: Distribution, question: FitQuestion
) -> DistributionFit:
    fit = _fit(records, distribution)
    if isinstance(fit, NotEstimable):
        return DistributionFit(
            distribution=distribution, fit=fit, fisher_limits=fit, likelihood_limits=fit
        )
    return DistributionFit(
        distribution=distribution,
        fit=fit,
        scale_cycles=fit.scale_cycles,
        shape=UNSET if distribution == "LOGNORMAL" else fit.shape,
        fisher_limits=fisher_limits(
            fit,
            confidence=question.confidence,
            at_cycles=question.at_cycles,
            fractions=question.fractions,
        ),
        likelihood_limits=settled(
            lambda: likelihood_limits(
                records,
                distribution,
                confidence=question.confidence,
                at_cycles=question.at_cycles,
                fractions=question.fractions,
            )
        ),
    )


def _points(records: LifeRecords) -> PlottingPositions | NotEstimable:
    if records.failure_count > MOST_POINTS_PLOTTED:
        return NotEstimable(reason="TOO_MANY_LIVES")
    return plotting_positions(records, rank_rule="MEDIAN")


def _survival(
    records: LifeRecords, question: FitQuestion
) -> SurvivalCurve | IntervalSurvival | NotEstimable:
    """Steps for exact lives, intervals where some failures are brackets."""
    if not records.has_brackets:
        return kaplan_meier(records, confidence=question.confidence)
    if records.counts.size > MOST_BRACKETED:
        return NotEstimable(reason="TOO_MANY_LIVES")
    return settled(lambda: interval_survival(records))


def _advice(records: LifeRecords) -> LimitAdvice | UnsetType:
    return limit_advice(records.failure_count) if records.failure_count else UNSET


def _warnings(records: LifeRecords, mixture: MixtureFlag | NotEstimable) -> list[FitWarningCode]:
    found: list[FitWarningCode] = []
    if (advice := _advice(records)) is not UNSET and "FEW_FAILURES" in advice.warnings:
        found.append("FEW_FAILURES")
    if isinstance(mixture, MixtureFlag) and mixture.flagged:
        found.append("MIXTURE_SUSPECTED")
    return found


def _modes(lives: Lives, question: FitQuestion) -> CompetingModes | NotEstimable | UnsetType:
    known = lives.with_modes
    if known is None:
        return UNSET
    return settled(
        lambda: competing_modes(known, at_cycles=question.at_cycles, fractions=question.fractions)
    )


def _bootstrap(
    records: LifeRecords, question: FitQuestion
) -> BootstrapLimits | NotEstimable | UnsetType:
    asked = question.bootstrap
    if asked is UNSET:
        return UNSET
    if records.unit_count * asked.resample_count > MOST_LIVES_DRAWN:
        return NotEstimable(reason="TOO_MANY_LIVES")
    resampling = Resampling(
        kind=asked.kind,
        resample_count=asked.resample_count,
        rng=np.random.Generator(np.random.PCG64(asked.seed)),
    )
    return settled(
        lambda: bootstrap_limits(
            records,
            resampling,
            confidence=question.confidence,
            at_cycles=question.at_cycles,
            fractions=question.fractions,
        )
    )
