"""What can be said about a set of lives by fits, curves and ranks; nothing in it decides."""

from typing import Literal

from msgspec import UNSET, Struct, UnsetType

from schemas.decisions import Provenance
from schemas.estimates import NotEstimable
from schemas.fit_limits import BootstrapLimits, FitLimits, LimitAdvice
from schemas.fits import Distribution, LifeFit, ThresholdWeibullFit
from schemas.lives import Ending
from schemas.populations import CompetingModes, MixtureFlag
from schemas.ranks import PlottingPositions, RankLine
from schemas.second_opinion import SecondOpinion
from schemas.survival import HazardCurve, IntervalSurvival, SurvivalCurve

FitWarningCode = Literal[
    "FEW_FAILURES", "MIXTURE_SUSPECTED", "OPEN_HOLDS", "SECOND_OPINION_DIFFERS"
]


class DistributionFit(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One life distribution: the fit, and limits by two methods; see `FitReport.advice`.

    `scale_cycles` and `shape` are those of the fit (eta and beta for a Weibull), without
    their limits, which stand in `fisher_limits` and `likelihood_limits`.
    """

    distribution: Distribution
    fit: LifeFit | NotEstimable
    fisher_limits: FitLimits | NotEstimable
    likelihood_limits: FitLimits | NotEstimable
    scale_cycles: float | UnsetType = UNSET
    shape: float | UnsetType = UNSET


class FitReport(Struct, frozen=True, kw_only=True, omit_defaults=True, tag="FIT_REPORT"):
    """
    Fits of one set of lives, what assumes no distribution, and how far to trust either.

    Every limit is one-sided with `confidence`; a lower and an upper one together make a
    two-sided interval of 2 C - 1. "Cannot be estimated" is an answer with its reason.
    `advice` says which limits to take at this number of failures; it is there as soon as
    a unit failed. `rank_line` is for the eye only. `survival` is stepwise for exact lives,
    by intervals where some are brackets. `modes`, `bootstrap` and `second_opinion` are
    there when the request gave modes or asked for them.
    """

    confidence: float
    unit_count: int
    failure_count: int
    distributions: list[DistributionFit]
    threshold_weibull: ThresholdWeibullFit | NotEstimable
    plotting_positions: PlottingPositions | NotEstimable
    rank_line: RankLine | NotEstimable
    survival: SurvivalCurve | IntervalSurvival | NotEstimable
    cumulative_hazard: HazardCurve | NotEstimable
    mixture: MixtureFlag | NotEstimable
    warnings: list[FitWarningCode]
    advice: LimitAdvice | UnsetType = UNSET
    modes: CompetingModes | NotEstimable | UnsetType = UNSET
    bootstrap: BootstrapLimits | NotEstimable | UnsetType = UNSET
    second_opinion: SecondOpinion | NotEstimable | UnsetType = UNSET


class UsedLife(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One unit of a lot as the fits take it; `used` is false for one that says nothing."""

    unit_id: str
    unit_serial: str
    ending: Ending
    used: bool
    cycles: int | UnsetType = UNSET
    cycles_low: int | UnsetType = UNSET
    cycles_high: int | UnsetType = UNSET
    failure_mode: str | UnsetType = UNSET


class LotFits(Struct, frozen=True, kw_only=True):
    """
    Fits of a lot's lives as they stand. An estimate beside the verdict; none of it decides.

    A failed unit enters with its exact life or its bracket, every other one as unbroken at
    its credited cycles. Open holds are taken as they stand. `answer_key` is the entity tag:
    equal facts and an equal question give an equal answer.
    """

    lot_id: str
    lot_number: str
    lives: list[UsedLife]
    open_hold_count: int
    report: FitReport | NotEstimable
    answer_key: str
    provenance: Provenance
