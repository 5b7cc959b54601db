"""References: statsmodels' survival function, and the sums in fractions with scipy.stats."""

import math
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.duration.survfunc import SurvfuncRight

from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.survival_curve import kaplan_meier, nelson_aalen
from schemas.estimates import NotEstimable
from schemas.survival import HazardCurve, SurvivalCurve, SurvivalLimits

LOT = st.lists(st.tuples(st.integers(1, 15), st.booleans()), min_size=1, max_size=40)
CONFIDENCE = st.floats(0.5, 0.999)
Lot = list[tuple[int, bool]]


def records_of(lot: Lot, factor: float = 1.0) -> LifeRecords:
    lives = [factor * life for life, _ in lot]
    return lives_with_run_outs(lives, np.array([failed for _, failed in lot], dtype=bool))


def survival(lot: Lot, confidence: float = 0.95) -> SurvivalCurve:
    found = kaplan_meier(records_of(lot), confidence=confidence)
    assert isinstance(found, SurvivalCurve)
    return found


def hazard(lot: Lot, confidence: float = 0.95) -> HazardCurve:
    found = nelson_aalen(records_of(lot), confidence=confidence)
    assert isinstance(found, HazardCurve)
    return found


def counts_of(lot: Lot) -> list[tuple[int, int, int]]:
    """Count, failures and units at risk, by looking at every unit each time."""
    return [
        (at, sum(life == at and failed for life, failed in lot), sum(life >= at for life, _ in lot))
        for at in sorted({life for life, failed in lot if failed})
    ]


@given(LOT)
@settings(max_examples=60)
def test_survival_and_its_error_are_those_of_statsmodels(lot: Lot) -> None:
    curve = survival(lot)
    if not curve.steps:
        return
    reference = SurvfuncRight(
        np.array([life for life, _ in lot], dtype=float), np.array([int(f) for _, f in lot])
    )
    assert [step.cycles for step in curve.steps] == list(reference.surv_times)
    assert [step.at_risk for step in curve.steps] == list(reference.n_risk)
    assert [step.failures for step in curve.steps] == list(reference.n_events)
    assert [step.survival for step in curve.steps] == pytest.approx(reference.surv_prob, abs=1e-12)
    for step, error in zip(curve.steps, reference.surv_prob_se, strict=True):
        if step.survival > 0:
            assert step.standard_error == pytest.approx(error, rel=1e-10)


@given(LOT, CONFIDENCE)
@settings(max_examples=40, deadline=None)
def test_survival_and_both_limits_are_those_of_the_sums_in_fractions(
    lot: Lot, confidence: float
) -> None:
    z, exact, total = stats.norm.ppf(confidence), Fraction(1), Fraction(0)
    steps = survival(lot, confidence).steps
    assert len(steps) == len(counts_of(lot))
    for step, (_, failures, at_risk) in zip(steps, counts_of(lot), strict=True):
        exact *= 1 - Fraction(failures, at_risk)
        assert step.survival == pytest.approx(float(exact), rel=1e-13)
        if exact == 0:
            reason = NotEstimable(reason="NO_LIMITS_AT_ZERO_SURVIVAL")
            assert step.standard_error == step.plain_limits == step.log_log_limits == reason
            continue
        total += Fraction(failures, at_risk * (at_risk - failures))
        s, root = float(exact), math.sqrt(total)
        plain, log_log = step.plain_limits, step.log_log_limits
        assert isinstance(plain, SurvivalLimits) and isinstance(log_log, SurvivalLimits)
        assert plain.lower == pytest.approx(max(0, s - z * s * root), abs=1e-12)
        assert plain.upper == pytest.approx(min(1, s + z * s * root), abs=1e-12)
        # On ln(-ln S), whose standard error is root / |ln S| (delta method).
        middle, width = math.log(-math.log(s)), z * root / -math.log(s)
        assert log_log.lower == pytest.approx(math.exp(-math.exp(middle + width)), rel=1e-10)
        assert log_log.upper == pytest.approx(math.exp(-math.exp(middle - width)), rel=1e-10)


@given(LOT, CONFIDENCE)
@settings(max_examples=40, deadline=None)
def test_the_cumulative_hazard_shares_tied_failures(lot: Lot, confidence: float) -> None:
    z, value, variance = stats.norm.ppf(confidence), Fraction(0), Fraction(0)
    curve = hazard(lot, confidence)
    for step, (at, failures, at_risk) in zip(curve.steps, counts_of(lot), strict=True):
        value += Fraction(failures, at_risk)
        variance += Fraction(failures, at_risk**2)
        assert step.cumulative_hazard == pytest.approx(float(value), rel=1e-13)
        assert step.standard_error == pytest.approx(math.sqrt(variance), rel=1e-13)
        width = math.exp(z * math.sqrt(variance) / float(value))
        assert step.limits.lower == pytest.approx(float(value) / width, rel=1e-11)
        assert step.limits.upper == pytest.approx(float(value) * width, rel=1e-11)
        assert curve.hazard_at(at) == step.cumulative_hazard
    assert curve.tie_rule == "FAILED_OVER_AT_RISK"
    assert curve.hazard_at(0) == 0.0 or lot == []


@given(LOT)
@settings(max_examples=40, deadline=None)
def test_a_curve_falls_and_stays_between_its_limits(lot: Lot) -> None:
    curve = survival(lot, 0.9)
    values = [step.survival for step in curve.steps]
    assert values == sorted(values, reverse=True) and all(0 <= value < 1 for value in values)
    for step in curve.steps:
        for limits in (step.plain_limits, step.log_log_limits):
            if isinstance(limits, SurvivalLimits):
                assert 0 <= limits.lower <= step.survival <= limits.upper <= 1


@given(LOT, st.sampled_from([1e-3, 100.0, 1e9]))
@settings(max_examples=40, deadline=None)
def test_cycles_in_another_unit_change_no_value(lot: Lot, factor: float) -> None:
    here, there = survival(lot), kaplan_meier(records_of(lot, factor), confidence=0.95)
    assert isinstance(there, SurvivalCurve)
    assert [s.survival for s in here.steps] == [s.survival for s in there.steps]
    assert [s.log_log_limits for s in here.steps] == [s.log_log_limits for s in there.steps]


def test_a_published_curve_with_ties() -> None:
    # Remission of leukaemia under 6-MP, Freireich and others 1963, as in Klein and
    # Moeschberger's table 4.1B (from memory): 0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448.
    failed = [6, 6, 6, 7, 10, 13, 16, 22, 23]
    stopped = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    curve = survival([(at, True) for at in failed] + [(at, False) for at in stopped])
    printed = [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448]
    assert [round(step.survival, 3) for step in curve.steps] == printed


def test_no_failure_is_a_curve_without_steps() -> None:
    curve, rise = survival([(5, False), (7, False)]), hazard([(5, False), (7, False)])
    assert curve.steps == rise.steps == ()
    assert curve.survival_at(7) == 1.0 and rise.hazard_at(7) == 0.0
    beyond = NotEstimable(reason="BEYOND_LONGEST_LIFE")
    assert curve.survival_at(7.5) == rise.hazard_at(7.5) == beyond


def test_no_unit_at_all_is_a_curve_that_knows_nothing() -> None:
    curve = survival([])
    assert curve.survival_at(0) == 1.0
    assert curve.survival_at(1) == NotEstimable(reason="BEYOND_LONGEST_LIFE")


def test_brackets_are_sent_to_the_estimate_that_takes_them() -> None:
    bracket = life_records([3.0], [5.0])
    answer = NotEstimable(reason="BRACKETED_LIVES")
    assert kaplan_meier(bracket, confidence=0.9) == answer
    assert nelson_aalen(bracket, confidence=0.9) == answer


@pytest.mark.parametrize("confidence", [0.0, 1.0, math.nan, "0.9"])
def test_a_confidence_that_is_none_is_refused(confidence: Any) -> None:
    for method in (kaplan_meier, nelson_aalen):
        with pytest.raises(OutsideDomainError, match="confidence"):
            method(records_of([(5, True)]), confidence=confidence)
