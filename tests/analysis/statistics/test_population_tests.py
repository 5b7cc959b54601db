"""Likelihood-ratio tests across groups against separate searches, properties and simulation."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import UNSET
from scipy import optimize, stats
from statsmodels.stats.multitest import multipletests

from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.population_tests import holm_corrected, population_tests, ratio_test
from schemas.estimates import NotEstimable
from schemas.populations import PopulationTests, RatioTest

INF = math.inf
# Lives invented for this test, 100 000 cycles the last count.
GROUPS = {
    "SB-16": lives_with_run_outs(
        [38, 52, 71, 80, 93, 100], [True] * 5 + [False], counts=[1, 1, 1, 1, 1, 4]
    ),
    "SB-17": lives_with_run_outs([12, 18, 33, 41, 47, 60], [True] * 6),
    "SB-18": life_records([20, 40, 60, 60, 80], [40, 60, 80, 80, INF], counts=[1, 2, 1, 1, 3]),
}


def answer_of(groups: dict[str, LifeRecords]) -> PopulationTests:
    tests = population_tests(groups)
    assert isinstance(tests, PopulationTests)
    return tests


def statistic(test: RatioTest | NotEstimable) -> float:
    assert isinstance(test, RatioTest)
    return test.statistic


def negative(records: LifeRecords, shape: float, log_scale: float) -> float:
    """Minus the log-likelihood in cycles, life by life."""
    total = 0.0
    for low, high, count in zip(
        records.low_cycles, records.high_cycles, records.counts, strict=True
    ):
        hazard = math.exp(min(600.0, shape * (math.log(low) - log_scale))) if low else 0.0
        if low == high:
            total += count * (math.log(shape * hazard / low) - hazard)
        elif math.isinf(high):
            total -= count * hazard
        else:
            later = math.exp(min(600.0, shape * (math.log(high) - log_scale)))
            total += count * (math.log(-math.expm1(hazard - later)) - hazard)
    return -total


def least(fall, start: list[float]) -> float:
    options = {"xatol": 1e-8, "fatol": 1e-11, "maxiter": 10_000, "maxfev": 10_000}
    found = optimize.minimize(fall, start, method="Nelder-Mead", options=options)
    return float(found.fun)


def test_the_statistics_are_twice_the_gains_of_searches_over_all_parameters() -> None:
    tests = answer_of(GROUPS)
    separate = sum(
        least(lambda at, lot=lot: negative(lot, math.exp(at[0]), at[1]), [0.5, 4.0])
        for lot in GROUPS.values()
    )
    one_shape = least(
        lambda at: sum(
            negative(lot, math.exp(at[0]), scale)
            for lot, scale in zip(GROUPS.values(), at[1:], strict=True)
        ),
        [0.5, 4.5, 3.5, 4.0],
    )
    pooled = least(
        lambda at: sum(negative(lot, math.exp(at[0]), at[1]) for lot in GROUPS.values()),
        [0.5, 4.0],
    )
    assert tests.shape_test.statistic == pytest.approx(2 * (one_shape - separate), abs=1e-6)
    assert statistic(tests.scale_test) == pytest.approx(2 * (pooled - one_shape), abs=1e-6)
    assert statistic(tests.equal_test) == pytest.approx(2 * (pooled - separate), abs=1e-6)
    assert tests.common_shape.log_likelihood == pytest.approx(-one_shape, abs=1e-7)


def test_p_values_are_those_of_the_chi_square_distribution() -> None:
    tests = answer_of(GROUPS)
    for test, freedom in ((tests.shape_test, 2), (tests.scale_test, 2), (tests.equal_test, 4)):
        assert isinstance(test, RatioTest)
        assert test.degrees_of_freedom == freedom
        assert test.p_value == pytest.approx(stats.chi2.sf(test.statistic, freedom), rel=1e-12)


def test_the_two_steps_add_up_to_the_test_of_both() -> None:
    tests = answer_of(GROUPS)
    steps = tests.shape_test.statistic + statistic(tests.scale_test)
    assert steps == pytest.approx(statistic(tests.equal_test), abs=1e-9)


def test_a_pair_is_tested_as_the_two_groups_alone_would_be() -> None:
    tests = answer_of(GROUPS)
    assert [(pair.first, pair.second) for pair in tests.pairs] == list(
        itertools.combinations(GROUPS, 2)
    )
    for pair in tests.pairs:
        alone = answer_of({name: GROUPS[name] for name in (pair.first, pair.second)})
        assert pair.shape_test == alone.shape_test
        assert pair.scale_test == alone.scale_test
        assert pair.equal_test == alone.equal_test
        assert alone.pairs[0].holm_shape == alone.shape_test.p_value


def test_pairs_are_corrected_as_statsmodels_does() -> None:
    tests = answer_of(GROUPS)
    raw = [pair.shape_test.p_value for pair in tests.pairs]
    corrected = [pair.holm_shape for pair in tests.pairs]
    assert corrected == pytest.approx(list(multipletests(raw, method="holm")[1]), rel=1e-12)


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=12))
@settings(max_examples=50, deadline=None)
def test_holms_correction_is_what_its_definition_says(p_values: list[float]) -> None:
    # Adjusted p of one: over all p_j up to it, the largest p_j times how many are p_j or more.
    def adjusted(own: float) -> float:
        below = [each for each in p_values if each <= own]
        return min(1.0, max(each * sum(other >= each for other in p_values) for each in below))

    assert holm_corrected(p_values) == pytest.approx([adjusted(each) for each in p_values])


def test_a_group_without_a_fit_is_named_with_the_reason() -> None:
    groups = {
        **GROUPS,
        "whole": lives_with_run_outs([100], [False], counts=[8]),
        "last": lives_with_run_outs([60, 100], [False, True]),
    }
    tests = answer_of(groups)
    assert [(group.name, group.reason) for group in tests.left_out] == [
        ("whole", "NO_FAILURES"),
        ("last", "FAILURES_ONLY_AT_LONGEST_LIFE"),
    ]
    assert tests.left_out[0].unit_count == 8 and tests.left_out[0].failure_count == 0
    assert "GROUPS_LEFT_OUT" in tests.notes
    assert tests.shape_test == answer_of(GROUPS).shape_test


@pytest.mark.parametrize("names", [(), ("SB-16",)])
def test_fewer_than_two_groups_are_not_compared(names: tuple[str, ...]) -> None:
    whole = {"whole": lives_with_run_outs([100], [False], counts=[8])}
    answer = population_tests(whole | {name: GROUPS[name] for name in names})
    assert answer == NotEstimable(reason="FEWER_THAN_TWO_GROUPS")


def test_scales_are_not_compared_where_the_shapes_differ() -> None:
    rng = np.random.default_rng(3)
    groups = {
        "blunt": lives_with_run_outs(100 * rng.weibull(0.8, 30), [True] * 30),
        "sharp": lives_with_run_outs(100 * rng.weibull(4.0, 30), [True] * 30),
    }
    tests = answer_of(groups)
    assert tests.shape_test.p_value < 1e-6
    assert tests.scale_test == NotEstimable(reason="SHAPES_DIFFER")
    assert tests.pairs[0].scale_test == NotEstimable(reason="SHAPES_DIFFER")
    assert tests.pairs[0].holm_scale is UNSET
    assert statistic(tests.equal_test) > tests.shape_test.statistic


def test_the_corrected_shape_test_takes_off_one_logarithm_per_complete_lot() -> None:
    # Written out for complete lots: (r - 1) ln b + b sum(y) - r ln sum(exp(b y)) per lot.
    logs = [np.log([38.0, 52, 71, 80, 93]), np.log([12.0, 18, 33, 41, 47, 60, 61])]

    def value(lot: np.ndarray, shape: float) -> float:
        powers = np.log(np.exp(shape * lot).sum())
        return (lot.size - 1) * math.log(shape) + shape * lot.sum() - lot.size * powers

    def peak(fall) -> float:
        found = optimize.minimize_scalar(
            fall, bounds=(-2, 3), method="bounded", options={"xatol": 1e-10}
        )
        return -float(found.fun)

    separate = [peak(lambda at, lot=lot: -value(lot, math.exp(at))) for lot in logs]
    common = peak(lambda at: -sum(value(lot, math.exp(at)) for lot in logs))
    lots = {str(i): lives_with_run_outs(np.exp(y), [True] * y.size) for i, y in enumerate(logs)}
    corrected = answer_of(lots).corrected_shape_test
    assert statistic(corrected) == pytest.approx(2 * (sum(separate) - common), abs=1e-8)
    assert statistic(corrected) < answer_of(lots).shape_test.statistic


def test_few_failures_are_said_aloud() -> None:
    assert "LOW_POWER" in answer_of(GROUPS).notes
    rng = np.random.default_rng(4)
    many = {str(i): lives_with_run_outs(rng.weibull(2.0, 30), [True] * 30) for i in range(2)}
    assert answer_of(many).notes == ()
    assert answer_of(many).fewest_failures == 30


def test_more_than_twenty_groups_are_not_compared_two_by_two() -> None:
    rng = np.random.default_rng(5)
    many = {str(i): lives_with_run_outs(rng.weibull(2.0, 4), [True] * 4) for i in range(21)}
    tests = answer_of(many)
    assert tests.pairs == () and "PAIRS_NOT_LISTED" in tests.notes
    assert tests.detectable_scale_ratio is UNSET
    assert tests.shape_test.degrees_of_freedom == 20


def test_the_detectable_ratio_of_complete_lots_is_that_of_the_known_variances() -> None:
    # Complete Weibull lots: var(ln shape) = 0.608 / n; with one shape the difference of ln
    # scales has variance 2 / (n shape**2), the shape's share cancels (Lawless, from memory).
    units = 40
    quantiles = (-np.log(1 - (np.arange(units) + 0.5) / units)) ** 0.5
    lots = {
        "L1": lives_with_run_outs(100 * quantiles, [True] * units),
        "L2": lives_with_run_outs(300 * quantiles, [True] * units),
    }
    pair = answer_of(lots).pairs[0]
    reach = stats.norm.ppf(0.975) + stats.norm.ppf(0.8)
    assert math.log(pair.detectable_shape_ratio) == pytest.approx(
        reach * math.sqrt(2 * 6 / math.pi**2 / units), rel=0.05
    )
    shape = answer_of(lots).common_shape.shape
    assert math.log(pair.detectable_scale_ratio) == pytest.approx(
        reach * math.sqrt(2 / units) / shape, rel=1e-6
    )


def test_a_gain_that_rounding_made_negative_is_no_gain() -> None:
    assert ratio_test(-1e-14, 2) == RatioTest(statistic=0.0, degrees_of_freedom=2, p_value=1.0)


@pytest.mark.parametrize("significance", [0.0, 1.0, math.nan])
def test_a_significance_is_a_fraction(significance: float) -> None:
    with pytest.raises(OutsideDomainError):
        population_tests(GROUPS, significance=significance)


@given(st.permutations(list(GROUPS)), st.floats(1e-3, 1e7))
@settings(max_examples=15, deadline=None)
def test_neither_the_order_of_groups_nor_the_unit_of_cycles_matters(
    order: list[str], factor: float
) -> None:
    scaled = {
        name: LifeRecords(
            low_cycles=GROUPS[name].low_cycles * factor,
            high_cycles=GROUPS[name].high_cycles * factor,
            counts=GROUPS[name].counts,
        )
        for name in order
    }
    tests, plain = answer_of(scaled), answer_of(GROUPS)
    assert tests.common_shape.shape == pytest.approx(plain.common_shape.shape, rel=1e-9)
    assert tests.shape_test.statistic == pytest.approx(plain.shape_test.statistic, abs=1e-8)
    assert statistic(tests.scale_test) == pytest.approx(statistic(plain.scale_test), abs=1e-8)
    scales = {scale.name: scale.scale_cycles for scale in tests.common_shape.scales}
    for scale in plain.common_shape.scales:
        assert scales[scale.name] == pytest.approx(factor * scale.scale_cycles, rel=1e-9)


@given(st.integers(2, 5))
@settings(max_examples=4, deadline=None)
def test_a_lot_split_into_equal_parts_shows_no_difference(parts: int) -> None:
    tests = answer_of({str(part): GROUPS["SB-16"] for part in range(parts)})
    assert tests.shape_test.statistic < 1e-9 and statistic(tests.equal_test) < 1e-9
    assert tests.equal_test.p_value > 0.999  # type: ignore[union-attr]


@pytest.mark.slow
def test_alike_groups_are_called_different_about_as_often_as_stated() -> None:
    # 3 lots of 20 units, all failed: 800 draws, standard error 0.008 at 0.05.
    rng = np.random.default_rng(6)
    p_values = []
    for _ in range(800):
        lots = {
            str(i): lives_with_run_outs(1e5 * rng.weibull(2.2, 20), [True] * 20) for i in range(3)
        }
        tests = answer_of(lots)
        equal = tests.equal_test
        assert isinstance(equal, RatioTest)
        p_values.append((tests.shape_test.p_value, equal.p_value))
    shares = (np.array(p_values) < 0.05).mean(axis=0)
    assert (shares > 0.02).all() and (shares < 0.095).all()
