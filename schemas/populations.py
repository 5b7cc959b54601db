"""Whether units are one population: tests across groups, a mixture flag, modes, shape evidence."""

from typing import Literal

from msgspec import UNSET, Struct, UnsetType

from schemas.estimates import NotEstimable
from schemas.fits import LifeFit


class GroupFit(Struct, frozen=True, kw_only=True):
    """Weibull of one group alone; `scale_cycles` (eta) in cycles."""

    name: str
    unit_count: int
    failure_count: int
    scale_cycles: float
    shape: float
    log_likelihood: float


class GroupLeftOut(Struct, frozen=True, kw_only=True):
    """A group that took no part, with the reason as a code of `NotEstimable`."""

    name: str
    unit_count: int
    failure_count: int
    reason: str


class GroupScale(Struct, frozen=True, kw_only=True):
    """Scale of one group when all groups share one shape. Cycles."""

    name: str
    scale_cycles: float


class CommonShapeFit(Struct, frozen=True, kw_only=True):
    """Weibull with one shape for all groups and a scale for each."""

    shape: float
    scales: tuple[GroupScale, ...]
    log_likelihood: float


class RatioTest(Struct, frozen=True, kw_only=True, tag="RATIO_TEST"):
    """
    Likelihood-ratio test: twice the log-likelihood gained by telling the groups apart.

    `p_value` is the chance of a `statistic` this large or larger among groups that are
    alike, from the chi-square distribution, which holds for many failures per group.
    """

    statistic: float
    degrees_of_freedom: int
    p_value: float


class PairTest(Struct, frozen=True, kw_only=True):
    """
    The same tests for two of the groups.

    The `holm_` figures are p-values corrected by Holm's method for the number of pairs
    looked at (absent where the test is not available). `detectable_` ratios: how far apart
    the two shapes, or scales of one shape, would have to be for data like these to tell
    with a chance of `PopulationTests.detection_chance`; an approximation, and before the
    correction for pairs.
    """

    first: str
    second: str
    shape_test: RatioTest
    scale_test: RatioTest | NotEstimable
    equal_test: RatioTest | NotEstimable
    holm_shape: float
    holm_scale: float | UnsetType = UNSET
    holm_equal: float | UnsetType = UNSET
    detectable_shape_ratio: float
    detectable_scale_ratio: float


class PopulationTests(Struct, frozen=True, kw_only=True, tag="POPULATION_TESTS"):
    """
    Whether named groups may share one Weibull.

    `shape_test` comes first: `scale_test` asks whether the scales are equal *given* one
    shape and is not quoted (``SHAPES_DIFFER``) where the p-value of `corrected_shape_test`
    (of `shape_test` if there is none) lies below `significance`. The correction takes off
    what few failures per group add to the plain test. `equal_test` asks for both at once.
    `pooled` is the fit of all groups together. `notes`: ``LOW_POWER`` (a group has 5
    failures or fewer: p-values are only a guide, and finding no difference shows little),
    ``GROUPS_LEFT_OUT``, ``PAIRS_NOT_LISTED`` (too many groups to compare two by two).
    `fewest_failures` is the least number of failures of a group compared. The
    detectable ratios are the largest of any pair (absent where no pairs are listed).
    Finding no difference is not proof that there is none.
    """

    groups: tuple[GroupFit, ...]
    left_out: tuple[GroupLeftOut, ...]
    common_shape: CommonShapeFit
    pooled: LifeFit | NotEstimable
    shape_test: RatioTest
    corrected_shape_test: RatioTest | NotEstimable
    scale_test: RatioTest | NotEstimable
    equal_test: RatioTest | NotEstimable
    pairs: tuple[PairTest, ...]
    significance: float
    detection_chance: float
    fewest_failures: int
    detectable_shape_ratio: float | UnsetType = UNSET
    detectable_scale_ratio: float | UnsetType = UNSET
    notes: tuple[str, ...]


class GroupTally(Struct, frozen=True, kw_only=True):
    """Failures seen in a group, and how many there would be if all groups were alike."""

    name: str
    unit_count: int
    failure_count: int
    expected_failures: float


class LogRankTest(Struct, frozen=True, kw_only=True, tag="LOG_RANK_TEST"):
    """
    Log-rank test across groups; it assumes no life distribution.

    A group without a failure takes part. `p_value` from chi-square, for many failures;
    `notes`: ``LOW_POWER`` (fewer than 5 failures expected in a group), ``GROUPS_LEFT_OUT``.
    """

    groups: tuple[GroupTally, ...]
    left_out: tuple[GroupLeftOut, ...]
    statistic: float
    degrees_of_freedom: int
    p_value: float
    notes: tuple[str, ...]


class SuspectLife(Struct, frozen=True, kw_only=True):
    """A failed life (ends in cycles, equal if exact) and its chance to be of the weak part."""

    low_cycles: float
    high_cycles: float
    unit_count: int
    weak_chance: float


class MixtureFlag(Struct, frozen=True, kw_only=True, tag="MIXTURE_FLAG"):
    """
    Whether lives look like two populations of one shape; a flag, never a decision.

    `statistic` is twice the log-likelihood gained by a second scale, flagged above
    `threshold`; a single Weibull lot is flagged with a chance of at most
    `false_alarm_chance`. The two-part figures (`weak_share` of the units with scale
    `weak_scale_cycles`, the rest with `main_scale_cycles`, one `shape`) are the best
    description found, not estimates with a precision. `suspects` are the failures that
    are more likely of the weak part than not. No flag is no proof: see `mixture_flag`
    for the chance to see a weak part.
    """

    flagged: bool
    statistic: float
    threshold: float
    false_alarm_chance: float
    single_fit: LifeFit
    shape: float
    weak_share: float
    weak_scale_cycles: float
    main_scale_cycles: float
    suspects: tuple[SuspectLife, ...]
    unit_count: int
    failure_count: int


class ModeFit(Struct, frozen=True, kw_only=True):
    """One failure mode alone, lives that ended otherwise taken as unbroken until then."""

    mode: str
    failure_count: int
    fit: LifeFit | NotEstimable


class ModeReliability(Struct, frozen=True, kw_only=True):
    """
    Reliability at a count, against all modes together.

    `upper_estimate` is the product over the modes that could be fitted: too high, never
    too low, where a mode is missing. `reliability` is that product if none is missing.
    """

    at_cycles: float
    reliability: float | NotEstimable
    upper_estimate: float


class ModeBLife(Struct, frozen=True, kw_only=True):
    """Cycles by which a fraction has failed of any mode; `upper_estimate_cycles` likewise."""

    fraction: float
    b_life_cycles: float | NotEstimable
    upper_estimate_cycles: float | NotEstimable


class CompetingModes(Struct, frozen=True, kw_only=True, tag="COMPETING_MODES"):
    """
    Weibull fit per failure mode and what they give together; point estimates, no limits.

    `modes_missing` are modes that failed units but have no fit: without them nothing is
    quoted as the reliability. `notes`: ``MODES_MISSING``, ``FEW_FAILURES`` (a fitted mode
    rests on 5 failures or fewer), ``BRACKETS_APPROXIMATE`` (a bracketed failure of one
    mode counts as unbroken up to its low end for the others).
    """

    modes: tuple[ModeFit, ...]
    modes_missing: tuple[str, ...]
    reliability: tuple[ModeReliability, ...]
    b_lives: tuple[ModeBLife, ...]
    unit_count: int
    failure_count: int
    notes: tuple[str, ...]


ShapeVerdict = Literal[
    "USABLE", "ONE_LOT_ONLY", "LOTS_DIFFER", "TOO_FEW_FAILURES", "NO_LIMITS", "NO_FAILURES"
]


class ShapeEvidence(Struct, frozen=True, kw_only=True, tag="SHAPE_EVIDENCE"):
    """
    What earlier lots of a part say about its Weibull shape, the scale free in each lot.

    `shape` is the common shape of greatest likelihood, `lower_limit` and `upper_limit` its
    likelihood-ratio limits. A scale left free in every lot makes all three lean upward,
    much where lots are small and run until all units failed; `corrected_shape` and the
    range to quote, `shape_low` to `shape_high`, are freed of that lean. Each limit alone
    holds with `confidence`. A figure that does not exist is absent; the verdict says why.

    `verdict`: ``USABLE`` (the range may be quoted in a specification, with the lots),
    ``ONE_LOT_ONLY`` (a range, but nothing shows that lots share it), ``LOTS_DIFFER`` (no
    one shape: p-value of the test below `significance`), ``TOO_FEW_FAILURES`` (fewer than
    `least_failures` beyond one per lot), ``NO_LIMITS`` (the likelihood does not fall far
    enough on one side), ``NO_FAILURES``. Only USABLE and ONE_LOT_ONLY carry a range.

    `failure_count` and `unit_count` are those of `lots_used`. `notes`: ``LOW_POWER`` (a
    lot has 5 failures or fewer: lots that differ may have passed the test),
    ``LOTS_WITHOUT_OWN_FIT`` (a lot helps with the shape but has no place in the test).
    """

    verdict: ShapeVerdict
    shape_low: float | UnsetType = UNSET
    shape_high: float | UnsetType = UNSET
    confidence: float
    shape: float | UnsetType = UNSET
    lower_limit: float | UnsetType = UNSET
    upper_limit: float | UnsetType = UNSET
    corrected_shape: float | UnsetType = UNSET
    lots: tuple[GroupFit, ...]
    lots_used: tuple[str, ...]
    lots_left_out: tuple[GroupLeftOut, ...]
    shared_shape_test: RatioTest | NotEstimable
    significance: float
    failure_count: int
    unit_count: int
    least_failures: int
    notes: tuple[str, ...]
