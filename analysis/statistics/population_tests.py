"""Do lots, component batches or stations share one Weibull? Likelihood-ratio tests."""

import math
from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np
from msgspec import UNSET, UnsetType
from scipy import special

from analysis.checks import check_fraction
from analysis.statistics.common_shape import (
    ShapeProfile,
    best_common_shape,
    corrected_peak,
    free_scale_lean,
)
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords, life_records
from analysis.statistics.log_likelihood import SortedLives, sort_lives
from schemas.estimates import NotEstimable
from schemas.fits import LifeFit
from schemas.populations import (
    CommonShapeFit,
    GroupFit,
    GroupLeftOut,
    GroupScale,
    PairTest,
    PopulationTests,
    RatioTest,
)

GUIDE_ONLY_FAILURES = 5
"""With this many failures in a group, or fewer, a chi-square p-value is only a guide."""
DETECTION_CHANCE = 0.8
_MOST_PAIRED = 20  # 190 pairs; a table of more is not read.


class Group(NamedTuple):
    """A group that can be compared: its lives, twice, and its own fit."""

    name: str
    records: LifeRecords
    lives: SortedLives
    fit: LifeFit


class _Nested(NamedTuple):
    """The three fits of some groups: separate, one shape, all common; and their tests."""

    shape: float
    profile: ShapeProfile
    pooled: LifeFit | NotEstimable
    shape_test: RatioTest
    scale_test: RatioTest | NotEstimable
    equal_test: RatioTest | NotEstimable


def population_tests(
    groups: Mapping[str, LifeRecords], *, significance: float = 0.05
) -> PopulationTests | NotEstimable:
    """
    Whether named groups of units may share one Weibull: first its shape, then its scale.

    Parameters
    ----------
    groups : mapping of str to LifeRecords
        Lives of each lot, component batch or station, by name. Cycles.
    significance : float, 0 to 1 (open), keyword only
        p-value of the (corrected) shape test below which no scale test is quoted.

    Returns
    -------
    PopulationTests or NotEstimable
        The tests, also for each pair of groups; ``FEWER_THAN_TWO_GROUPS`` where fewer
        than two groups have a fit of their own. Groups without one (nothing failed, for
        example) are left out and named with the reason; `log_rank_test` can use them.

    Raises
    ------
    OutsideDomainError
        If `significance` is no fraction strictly between 0 and 1.

    Notes
    -----
    Three nested fits: a scale and a shape per group (2 k parameters), one shape (k + 1),
    all common (2). Twice the difference of their log-likelihoods is compared with the
    chi-square distribution of k - 1, k - 1 and 2 (k - 1) degrees of freedom [1]_.
    With few failures per group the shape test finds differences too often, because each
    group's free scale sharpens its own shape. The corrected test takes that lean off
    every likelihood (`free_scale_lean`); it decides whether scales are compared. Share of
    alike groups called different at 0.05, plain and corrected (600 draws, standard error
    0.01): 2 groups of 8 units, 5 failed: 0.06, 0.06; 2 of 5, all failed: 0.10, 0.06; 6 of
    12, some 4 failed: 0.06, 0.06; 8 of 4, all failed: 0.21, 0.09; 2 of 30, half failed:
    0.06, 0.06.

    Pairs are corrected by Holm's method [2]_. The detectable ratio d solves
    ``ln d = (z1 + z2) se``, z1 the two-sided 5 % point (at `significance`) and z2 that of
    the chance 0.8 of a standard normal, se from the observed information of ln shape, or
    of ln scale at one shape, summed over the two groups: an approximation.

    References
    ----------
    .. [1] J. F. Lawless, "Statistical Models and Methods for Lifetime Data", 2nd
           edition, 2003, chapter 5. (From memory.)
    .. [2] S. Holm, "A simple sequentially rejective multiple test procedure",
           Scandinavian Journal of Statistics 6, 65-70, 1979. (From memory.)

    Examples
    --------
    Two seal batches of one lot, stopped at 200 000 cycles:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> good = lives_with_run_outs(
    ...     [150_000, 180_000, 200_000], [True, True, False], counts=[1, 1, 6]
    ... )
    >>> weak = lives_with_run_outs([15_000, 33_000, 54_000, 61_000], [True] * 4)
    >>> tests = population_tests({"SB-16": good, "SB-17": weak})
    >>> round(tests.shape_test.p_value, 2), round(tests.scale_test.p_value, 5), tests.notes
    (0.35, 3e-05, ('LOW_POWER',))

    The shapes may be equal; the scales are not.
    """
    level = check_fraction("significance", significance)
    compared, left_out = split_groups(groups)
    if len(compared) < 2:
        return NotEstimable(reason="FEWER_THAN_TWO_GROUPS")
    nested = _nested_fits(compared)
    corrected = corrected_shape_test(compared)
    deciding = corrected if isinstance(corrected, RatioTest) else nested.shape_test
    scales_quoted = deciding.p_value >= level
    is_paired = len(compared) <= _MOST_PAIRED
    pairs = _pairs(compared, scales_quoted, level) if is_paired else ()
    fewest = min(group.fit.failure_count for group in compared)
    notes = {
        "LOW_POWER": fewest <= GUIDE_ONLY_FAILURES,
        "GROUPS_LEFT_OUT": bool(left_out),
        "PAIRS_NOT_LISTED": not is_paired,
    }
    return PopulationTests(
        groups=tuple(group_fit(group) for group in compared),
        left_out=left_out,
        common_shape=_common_shape_fit(compared, nested),
        pooled=nested.pooled,
        shape_test=nested.shape_test,
        corrected_shape_test=corrected,
        scale_test=_if_quoted(nested.scale_test, scales_quoted),
        equal_test=nested.equal_test,
        pairs=pairs,
        significance=level,
        detection_chance=DETECTION_CHANCE,
        fewest_failures=fewest,
        detectable_shape_ratio=max((pair.detectable_shape_ratio for pair in pairs), default=UNSET),
        detectable_scale_ratio=max((pair.detectable_scale_ratio for pair in pairs), default=UNSET),
        notes=tuple(code for code, applies in notes.items() if applies),
    )


def split_groups(
    groups: Mapping[str, LifeRecords],
) -> tuple[list[Group], tuple[GroupLeftOut, ...]]:
    """Groups with a Weibull fit of their own, and the others with the reason."""
    compared, left_out = [], []
    for name, records in groups.items():
        fit = life_fit(records, "WEIBULL")
        if isinstance(fit, NotEstimable):
            left_out.append(
                GroupLeftOut(
                    name=name,
                    unit_count=records.unit_count,
                    failure_count=records.failure_count,
                    reason=fit.reason,
                )
            )
        else:
            compared.append(Group(name, records, sort_lives(records, "WEIBULL"), fit))
    return compared, tuple(left_out)


def group_fit(group: Group) -> GroupFit:
    """A group's own fit in the words of the answer."""
    return GroupFit(
        name=group.name,
        unit_count=group.fit.unit_count,
        failure_count=group.fit.failure_count,
        scale_cycles=group.fit.scale_cycles,
        shape=group.fit.shape,
        log_likelihood=group.fit.log_likelihood,
    )


def ratio_test(gain: float, degrees_of_freedom: int) -> RatioTest:
    """
    Test of a gain in log-likelihood by a chi-square of given degrees of freedom.

    Examples
    --------
    >>> round(ratio_test(1.920729, 1).p_value, 4)
    0.05
    """
    # Rounding can make a larger model's maximum a hair smaller than the nested one's.
    statistic = max(0.0, 2.0 * gain)
    p_value = float(special.chdtrc(degrees_of_freedom, statistic))
    return RatioTest(statistic=statistic, degrees_of_freedom=degrees_of_freedom, p_value=p_value)


def shared_shape(groups: Sequence[Group]) -> tuple[float, ShapeProfile, RatioTest]:
    """Common shape of groups, the likelihood there, and the test that they share it."""
    start = math.exp(float(np.mean([math.log(group.fit.shape) for group in groups])))
    shape, profile = best_common_shape([group.lives for group in groups], start=start)
    separate = math.fsum(group.fit.log_likelihood for group in groups)
    return shape, profile, ratio_test(separate - profile.value, len(groups) - 1)


def corrected_shape_test(groups: Sequence[Group]) -> RatioTest | NotEstimable:
    """
    Test that groups share a shape, each likelihood freed of the lean of its free scale.

    ``SPREAD_WITHOUT_END`` where a group has no largest likelihood left without the lean.
    """
    leans = [free_scale_lean(group.fit.failure_count / group.fit.unit_count) for group in groups]
    separate = [
        corrected_peak([group.lives], lean) for group, lean in zip(groups, leans, strict=True)
    ]
    common = corrected_peak([group.lives for group in groups], math.fsum(leans))
    gains = [each[1] for each in separate if each is not None]
    if common is None or len(gains) < len(groups):
        return NotEstimable(reason="SPREAD_WITHOUT_END")
    return ratio_test(math.fsum(gains) - common[1], len(groups) - 1)


def holm_corrected(p_values: Sequence[float]) -> tuple[float, ...]:
    """
    Holm's correction: p-values that hold for all of them together.

    The smallest is multiplied by their number m, the next by m - 1 and so on, none
    falling below the one before it, none above 1.

    Examples
    --------
    >>> holm_corrected([0.04, 0.01, 0.03])
    (0.06, 0.03, 0.06)
    """
    count = len(p_values)
    corrected = [0.0] * count
    reached = 0.0
    for rank, index in enumerate(sorted(range(count), key=p_values.__getitem__)):
        reached = max(reached, min(1.0, (count - rank) * p_values[index]))
        corrected[index] = reached
    return tuple(corrected)


def _nested_fits(groups: Sequence[Group]) -> _Nested:
    """Fit one shape and all common, and test each step."""
    shape, profile, shape_test = shared_shape(groups)
    pooled = life_fit(_pooled_records(groups), "WEIBULL")
    freedom = len(groups) - 1
    scale_test: RatioTest | NotEstimable
    equal_test: RatioTest | NotEstimable
    if isinstance(pooled, NotEstimable):
        scale_test = equal_test = pooled
    else:
        separate = math.fsum(group.fit.log_likelihood for group in groups)
        scale_test = ratio_test(profile.value - pooled.log_likelihood, freedom)
        equal_test = ratio_test(separate - pooled.log_likelihood, 2 * freedom)
    return _Nested(shape, profile, pooled, shape_test, scale_test, equal_test)


def _pooled_records(groups: Sequence[Group]) -> LifeRecords:
    """All groups' lives as one lot."""
    return life_records(
        np.concatenate([group.records.low_cycles for group in groups]),
        np.concatenate([group.records.high_cycles for group in groups]),
        counts=np.concatenate([group.records.counts for group in groups]).astype(np.int64),
    )


def _common_shape_fit(groups: Sequence[Group], nested: _Nested) -> CommonShapeFit:
    """The fit with one shape in the words of the answer."""
    scales = tuple(
        GroupScale(
            name=group.name, scale_cycles=math.exp(group.lives.center + place / nested.shape)
        )
        for group, place in zip(groups, nested.profile.places, strict=True)
    )
    return CommonShapeFit(shape=nested.shape, scales=scales, log_likelihood=nested.profile.value)


def _if_quoted(test: RatioTest | NotEstimable, scales_quoted: bool) -> RatioTest | NotEstimable:
    """A scale test, unless the shapes differ: then there is no one scale to compare."""
    return test if scales_quoted else NotEstimable(reason="SHAPES_DIFFER")


def _pairs(groups: Sequence[Group], scales_quoted: bool, level: float) -> tuple[PairTest, ...]:
    """Each two groups compared, p-values corrected for the number of pairs."""
    couples = list(combinations(groups, 2))
    fits = [_nested_fits(couple) for couple in couples]
    scale_tests = [_if_quoted(fit.scale_test, scales_quoted) for fit in fits]
    shape_holm = _holm_where_tested([fit.shape_test for fit in fits])
    scale_holm = _holm_where_tested(scale_tests)
    equal_holm = _holm_where_tested([fit.equal_test for fit in fits])
    pairs = []
    for index, ((first, second), fit) in enumerate(zip(couples, fits, strict=True)):
        shape_ratio, scale_ratio = _detectable_ratios(first, second, fit, level)
        corrected = shape_holm[index]
        pairs.append(
            PairTest(
                first=first.name,
                second=second.name,
                shape_test=fit.shape_test,
                scale_test=scale_tests[index],
                equal_test=fit.equal_test,
                holm_shape=1.0 if corrected is UNSET else corrected,
                holm_scale=scale_holm[index],
                holm_equal=equal_holm[index],
                detectable_shape_ratio=shape_ratio,
                detectable_scale_ratio=scale_ratio,
            )
        )
    return tuple(pairs)


def _holm_where_tested(tests: Sequence[RatioTest | NotEstimable]) -> list[float | UnsetType]:
    """Holm's correction over the tests that are available; UNSET for the others."""
    available = [test.p_value for test in tests if isinstance(test, RatioTest)]
    corrected = iter(holm_corrected(available))
    return [next(corrected) if isinstance(test, RatioTest) else UNSET for test in tests]


def _detectable_ratios(
    first: Group, second: Group, fit: _Nested, level: float
) -> tuple[float, float]:
    """Ratios of shapes and of scales that two groups like these would show (see above)."""
    reach = float(special.ndtri(1.0 - 0.5 * level) + special.ndtri(DETECTION_CHANCE))
    shape_variance = (
        first.fit.covariance.log_spread_variance + second.fit.covariance.log_spread_variance
    )
    # Location is a / b: its own variance at a fixed shape, and how both move with the shape.
    locations = [place / fit.shape for place in fit.profile.places]
    moves = [
        (turn - location) / fit.shape
        for turn, location in zip(fit.profile.turns, locations, strict=True)
    ]
    scale_variance = math.fsum(1.0 / weight for weight in fit.profile.weights)
    scale_variance += (moves[0] - moves[1]) ** 2 / -fit.profile.bend
    return (
        _ratio(reach * math.sqrt(shape_variance)),
        _ratio(reach * math.sqrt(scale_variance)),
    )


def _ratio(logarithm: float) -> float:
    """The ratio; one too large for a number is the largest number."""
    return math.exp(min(logarithm, 709.0))
