"""The log-rank test against statsmodels, a table counted by hand, and its refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.duration.survfunc import survdiff

from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.log_rank import log_rank_test
from schemas.estimates import NotEstimable
from schemas.populations import LogRankTest

WHOLE = lives_with_run_outs([200], [False], counts=[8])
WEAK = lives_with_run_outs([15, 33, 54, 61], [True] * 4)


def answer_of(groups: dict[str, LifeRecords]) -> LogRankTest:
    test = log_rank_test(groups)
    assert isinstance(test, LogRankTest)
    return test


@pytest.mark.parametrize("group_count", [2, 3, 5])
@pytest.mark.parametrize("seed", range(5))
def test_statistic_and_p_value_are_those_of_statsmodels_with_many_ties(
    group_count: int, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    lives = [rng.integers(1, 15, 12) for _ in range(group_count)]
    failed = [rng.random(12) < 0.7 for _ in range(group_count)]
    test = answer_of(
        {
            str(i): lives_with_run_outs(own, ends)
            for i, (own, ends) in enumerate(zip(lives, failed, strict=True))
        }
    )
    statistic, p_value = survdiff(
        np.concatenate(lives),
        np.concatenate(failed).astype(int),
        np.repeat(np.arange(group_count), 12),
    )
    assert test.statistic == pytest.approx(float(statistic), rel=1e-10)
    assert test.p_value == pytest.approx(float(p_value), rel=1e-9)
    assert test.degrees_of_freedom == group_count - 1


def test_a_group_without_failures_is_compared_and_the_table_adds_up() -> None:
    test = answer_of({"whole": WHOLE, "weak": WEAK})
    # By hand: 8 of 12, 11, 10 and 9 units at risk were in the whole group.
    expected = 8 / 12 + 8 / 11 + 8 / 10 + 8 / 9
    variance = sum(8 / n * (1 - 8 / n) for n in (12, 11, 10, 9))
    assert test.groups[0].failure_count == 0
    assert test.groups[0].expected_failures == pytest.approx(expected, rel=1e-12)
    assert test.groups[1].expected_failures == pytest.approx(4 - expected, rel=1e-12)
    assert test.statistic == pytest.approx(expected**2 / variance, rel=1e-12)
    assert test.p_value == pytest.approx(stats.chi2.sf(expected**2 / variance, 1), rel=1e-10)
    assert test.notes == ("LOW_POWER",)


def test_a_group_that_stopped_before_the_first_failure_is_named() -> None:
    early = lives_with_run_outs([10], [False], counts=[3])
    test = answer_of({"early": early, "whole": WHOLE, "weak": WEAK})
    assert [(group.name, group.reason) for group in test.left_out] == [
        ("early", "STOPPED_BEFORE_FIRST_FAILURE")
    ]
    assert test.notes == ("LOW_POWER", "GROUPS_LEFT_OUT")
    assert test.statistic == answer_of({"whole": WHOLE, "weak": WEAK}).statistic
    alone = log_rank_test({"early": early, "weak": WEAK})
    assert alone == NotEstimable(reason="FEWER_THAN_TWO_GROUPS")


def test_a_unit_stopped_at_the_count_of_a_failure_was_at_risk_there() -> None:
    stopped = lives_with_run_outs([15, 40], [False, True])
    other = lives_with_run_outs([15, 90], [True, True])
    test = answer_of({"stopped": stopped, "other": other})
    assert test.groups[0].expected_failures == pytest.approx(2 / 4 + 1 / 2, rel=1e-12)


@pytest.mark.parametrize(
    ("groups", "reason"),
    [
        ({}, "NO_FAILURES"),
        ({"a": WHOLE, "b": WHOLE}, "NO_FAILURES"),
        ({"a": WEAK}, "FEWER_THAN_TWO_GROUPS"),
        ({"a": WHOLE, "b": life_records([10], [20])}, "BRACKETED_LIVES"),
        (
            {
                "a": lives_with_run_outs([50], [True]),
                "b": lives_with_run_outs([50], [True], counts=[3]),
            },
            "ALL_FAILED_AT_ONCE",
        ),
    ],
)
def test_what_cannot_be_compared_is_refused_with_the_reason(
    groups: dict[str, LifeRecords], reason: str
) -> None:
    assert log_rank_test(groups) == NotEstimable(reason=reason)


lot = st.lists(st.tuples(st.integers(1, 12), st.booleans()), min_size=2, max_size=10)


@given(st.lists(lot, min_size=2, max_size=4), st.floats(1e-3, 1e6))
@settings(max_examples=60, deadline=None)
def test_neither_the_unit_of_cycles_nor_the_order_of_groups_matters(
    lots: list[list[tuple[int, bool]]], factor: float
) -> None:
    def groups(scale: float, order: int) -> dict[str, LifeRecords]:
        named = [(str(index), lot) for index, lot in enumerate(lots)][::order]
        return {
            name: lives_with_run_outs([scale * life for life, _ in lot], [f for _, f in lot])
            for name, lot in named
        }

    plain, other = log_rank_test(groups(1.0, 1)), log_rank_test(groups(factor, -1))
    if isinstance(plain, NotEstimable):
        assert other == plain
        return
    assert isinstance(other, LogRankTest)
    assert other.statistic == pytest.approx(plain.statistic, rel=1e-9, abs=1e-12)
    assert sum(group.expected_failures for group in plain.groups) == pytest.approx(
        sum(group.failure_count for group in plain.groups), rel=1e-9, abs=1e-9
    )


@pytest.mark.slow
def test_alike_groups_are_called_different_as_often_as_stated() -> None:
    # 3 groups of 15 units, half failed; 2,000 draws, standard error 0.005.
    rng = np.random.default_rng(8)
    p_values = []
    for _ in range(2_000):
        lives = rng.weibull(2.0, (3, 15))
        groups = {
            str(i): lives_with_run_outs(np.minimum(own, 0.83), own < 0.83)
            for i, own in enumerate(lives)
        }
        p_values.append(answer_of(groups).p_value)
    assert (np.array(p_values) < 0.05).mean() == pytest.approx(0.05, abs=0.02)
