"""Limits of what a fitted life distribution says, each with its own one-sided confidence."""

from typing import Literal

from msgspec import Struct

from schemas.estimates import NotEstimable
from schemas.fits import Distribution

LimitMethod = Literal["FISHER_LOG", "LIKELIHOOD_RATIO"]
ResamplingKind = Literal["PARAMETRIC", "NON_PARAMETRIC"]
AdviceReason = Literal["FEW_FAILURES"]
NoLimitReason = Literal[
    "NO_FINITE_LIMIT",
    "SHAPE_NOT_FITTED",
    "TOO_MANY_RESAMPLES_WITHOUT_MAXIMUM",
    "BRACKETED_LIVES",
]


class Limits(Struct, frozen=True, kw_only=True):
    """
    Estimate of one quantity with a lower and an upper limit.

    Each limit alone holds with the one-sided `confidence` C of the object that carries it;
    the two together are a two-sided interval of 2 C - 1. A limit that does not exist is
    said so: ``NO_FINITE_LIMIT`` (the data allow the quantity to run to 0 or without end, or
    beyond every number a computer holds) or ``SHAPE_NOT_FITTED`` (the distribution gives it).
    """

    estimate: float
    lower: float | NotEstimable
    upper: float | NotEstimable


class ReliabilityLimits(Struct, frozen=True, kw_only=True):
    """Fraction of units that survive `at_cycles`, with limits as in `Limits`."""

    at_cycles: float
    estimate: float
    lower: float | NotEstimable
    upper: float | NotEstimable


class BLifeLimits(Struct, frozen=True, kw_only=True):
    """Cycles by which `fraction` of the units fail, with limits as in `Limits`."""

    fraction: float
    estimate_cycles: float | NotEstimable
    lower_cycles: float | NotEstimable
    upper_cycles: float | NotEstimable


class FitLimits(Struct, frozen=True, kw_only=True, tag="FIT_LIMITS"):
    """
    Limits of all quantities of one fit by one method.

    `confidence` is one-sided: each limit alone holds with it, a pair with 2 C - 1.
    `location`, `spread`, `scale_cycles` and `shape` are those of `schemas.fits.LifeFit`.
    """

    method: LimitMethod
    distribution: Distribution
    confidence: float
    unit_count: int
    failure_count: int
    location: Limits
    spread: Limits
    scale_cycles: Limits
    shape: Limits
    reliability: tuple[ReliabilityLimits, ...]
    b_lives: tuple[BLifeLimits, ...]


class BootstrapLimits(Struct, frozen=True, kw_only=True, tag="BOOTSTRAP_LIMITS"):
    """
    Limits from fits to lots drawn again, percentiles of the refitted values.

    `confidence` is one-sided as in `FitLimits`. `without_maximum_count` of the
    `resample_count` drawn lots had no fit (no failure, or failures only at the longest
    life); each of them is counted against every limit, as if it had given a value below
    the lower and above the upper one. Where they are too many for the confidence the limit
    is ``TOO_MANY_RESAMPLES_WITHOUT_MAXIMUM``. For complete and run-out lives of a Weibull
    only: others are ``BRACKETED_LIVES``.
    """

    kind: ResamplingKind
    confidence: float
    resample_count: int
    without_maximum_count: int
    without_maximum_share: float
    unit_count: int
    failure_count: int
    scale_cycles: Limits
    shape: Limits
    reliability: tuple[ReliabilityLimits, ...]
    b_lives: tuple[BLifeLimits, ...]


class LimitCoverage(Struct, frozen=True, kw_only=True):
    """
    How often a lower limit of the B10 life, meant to hold in 90 % of lots, really held.

    Found by simulation: lots of `unit_count` units, all stopped at one count before which
    `expected_failure_count` of them fail on average. The standard errors are those of the
    simulation. `without_maximum_share` of the drawn lots had no fit and are left out.
    """

    unit_count: int
    expected_failure_count: int
    fisher_log: float
    fisher_log_standard_error: float
    likelihood_ratio: float
    likelihood_ratio_standard_error: float
    lot_count: int
    without_maximum_share: float


class LimitAdvice(Struct, frozen=True, kw_only=True):
    """
    Which limits to trust at a number of failures, and what each really covers there.

    The expected coverages are of a nominal one-sided confidence of `nominal_confidence`,
    from the row of the coverage table with the largest number of failures not above this
    one (the first row where there is none). `warnings` holds ``FEW_FAILURES`` below 10.
    """

    recommended: LimitMethod
    failure_count: int
    nominal_confidence: float
    expected_coverage_fisher_log: float
    expected_coverage_likelihood_ratio: float
    table_row: LimitCoverage
    warnings: tuple[AdviceReason, ...]
