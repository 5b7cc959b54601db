"""What earlier lots say about a shape: the limits, every verdict, brackets, and simulation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import UNSET
from scipy import optimize, stats

from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.shape_evidence import LEAST_FAILURES, shape_evidence
from schemas.estimates import NotEstimable
from schemas.populations import RatioTest, ShapeEvidence

INF = math.inf
# Lives invented for this test, in thousands of cycles.
L11 = lives_with_run_outs(
    [61, 98, 121, 150, 160, 188, 200], [True] * 6 + [False], counts=[1] * 6 + [6]
)
L12 = lives_with_run_outs(
    [74, 86, 131, 137, 155, 172, 200], [True] * 6 + [False], counts=[1] * 6 + [2]
)
WHOLE = lives_with_run_outs([200], [False], counts=[12])
LOTS = {"L11": L11, "L12": L12}


def evidence_of(lots: dict[str, LifeRecords]) -> ShapeEvidence:
    return shape_evidence(lots, confidence=0.9)


def profile(lots: list[LifeRecords], shape: float) -> float:
    """Log-likelihood with the best scale of each lot put in; exact and unbroken lives only."""
    total = 0.0
    for lot in lots:
        failed = np.isfinite(lot.high_cycles)
        r = lot.counts[failed].sum()
        scale = ((lot.counts * lot.low_cycles**shape).sum() / r) ** (1 / shape)
        law = stats.weibull_min(shape, scale=scale)
        total += (lot.counts[failed] * law.logpdf(lot.low_cycles[failed])).sum()
        total += (lot.counts[~failed] * law.logsf(lot.low_cycles[~failed])).sum()
    return float(total)


def test_shape_and_limits_are_those_of_the_profile_likelihood() -> None:
    evidence = evidence_of(LOTS)
    found = optimize.minimize_scalar(
        lambda shape: -profile([L11, L12], shape),
        bounds=(0.5, 9.0),
        method="bounded",
        options={"xatol": 1e-9},
    )
    assert evidence.shape == pytest.approx(found.x, rel=1e-6)
    drop = stats.chi2.ppf(2 * 0.9 - 1, 1) / 2

    def excess(shape: float) -> float:
        return profile([L11, L12], shape) + found.fun + drop

    assert evidence.lower_limit == pytest.approx(optimize.brentq(excess, 0.1, found.x), rel=1e-7)
    assert evidence.upper_limit == pytest.approx(optimize.brentq(excess, found.x, 20), rel=1e-7)


def test_the_range_to_quote_of_complete_lots_counts_one_failure_less_per_lot() -> None:
    complete = [
        lives_with_run_outs([61, 98, 121, 150, 160, 188], [True] * 6),
        lives_with_run_outs([74, 86, 131, 137, 155, 172, 190, 195], [True] * 8),
    ]
    evidence = evidence_of({"L1": complete[0], "L2": complete[1]})

    def corrected(shape: float) -> float:
        return profile(complete, shape) - 2 * math.log(shape)

    found = optimize.minimize_scalar(
        lambda shape: -corrected(shape), bounds=(0.5, 12.0), method="bounded"
    )
    least = -found.fun - stats.chi2.ppf(0.8, 1) / 2
    low = optimize.brentq(lambda shape: corrected(shape) - least, 0.1, found.x)
    high = optimize.brentq(lambda shape: corrected(shape) - least, found.x, 30)
    assert evidence.verdict == "USABLE"
    assert (evidence.shape_low, evidence.shape_high) == pytest.approx((low, high), rel=1e-5)
    assert evidence.corrected_shape == pytest.approx(found.x, rel=1e-4)


def test_a_lot_without_failures_changes_nothing_but_is_named() -> None:
    without, with_it = evidence_of(LOTS), evidence_of({**LOTS, "L13": WHOLE})
    assert [(lot.name, lot.reason) for lot in with_it.lots_left_out] == [("L13", "NO_FAILURES")]
    assert (with_it.shape_low, with_it.shape_high) == (without.shape_low, without.shape_high)
    assert with_it.lots_used == ("L11", "L12") and with_it.unit_count == 20
    assert with_it.failure_count == 12


def test_no_failure_anywhere_is_no_evidence() -> None:
    for lots in ({}, {"L13": WHOLE}):
        evidence = evidence_of(lots)
        assert evidence.verdict == "NO_FAILURES"
        assert evidence.shape is UNSET and evidence.shape_low is UNSET
        assert evidence.shared_shape_test == NotEstimable(reason="FEWER_THAN_TWO_GROUPS")


def test_too_few_failures_give_a_shape_to_look_at_and_no_range() -> None:
    few = lives_with_run_outs([90, 140, 200], [True, True, False], counts=[1, 1, 10])
    evidence = evidence_of({"L1": few, "L2": few, "L3": few})
    assert evidence.verdict == "TOO_FEW_FAILURES"
    assert evidence.failure_count - 3 < evidence.least_failures == LEAST_FAILURES
    assert evidence.shape_low is UNSET and evidence.shape_high is UNSET
    assert evidence.shape is not UNSET and evidence.lower_limit is not UNSET
    assert "LOW_POWER" in evidence.notes


def test_one_lot_gives_a_range_that_no_other_lot_confirms() -> None:
    rng = np.random.default_rng(1)
    lot = lives_with_run_outs(100 * rng.weibull(2.0, 20), [True] * 20)
    evidence = evidence_of({"L1": lot, "L13": WHOLE})
    assert evidence.verdict == "ONE_LOT_ONLY"
    assert evidence.shape_low is not UNSET and evidence.shape_high is not UNSET
    assert evidence.shape_low < evidence.shape_high


def test_lots_of_different_shape_carry_no_range() -> None:
    rng = np.random.default_rng(2)
    evidence = evidence_of(
        {
            "L1": lives_with_run_outs(100 * rng.weibull(0.9, 20), [True] * 20),
            "L2": lives_with_run_outs(100 * rng.weibull(4.0, 20), [True] * 20),
        }
    )
    assert evidence.verdict == "LOTS_DIFFER"
    assert isinstance(evidence.shared_shape_test, RatioTest)
    assert evidence.shared_shape_test.p_value < evidence.significance
    assert evidence.shape_low is UNSET and len(evidence.lots) == 2


def test_lots_that_fit_ever_larger_shapes_have_no_limits() -> None:
    at_once = life_records([30, 60], [60, INF], counts=[12, 4])
    evidence = evidence_of({"L1": at_once})
    assert evidence.verdict == "NO_LIMITS"
    assert evidence.shape is UNSET and evidence.upper_limit is UNSET


def test_lots_of_one_unit_and_lots_never_seen_whole_are_left_out() -> None:
    evidence = evidence_of(
        {
            **LOTS,
            "single": lives_with_run_outs([80], [True]),
            "late": life_records([0], [60], counts=[5]),
        }
    )
    assert [(lot.name, lot.reason) for lot in evidence.lots_left_out] == [
        ("single", "ONE_UNIT_ONLY"),
        ("late", "NONE_SEEN_WHOLE"),
    ]
    assert evidence.shape == evidence_of(LOTS).shape
    only_singles = evidence_of({"single": lives_with_run_outs([80], [True])})
    assert only_singles.verdict == "TOO_FEW_FAILURES"


def test_a_lot_without_a_fit_of_its_own_helps_and_is_noted() -> None:
    last = lives_with_run_outs([150, 200], [False, True], counts=[5, 2])
    evidence = evidence_of({**LOTS, "L14": last})
    assert "LOTS_WITHOUT_OWN_FIT" in evidence.notes
    assert evidence.lots_used == ("L11", "L12", "L14") and len(evidence.lots) == 2
    assert evidence.shape == pytest.approx(
        optimize.minimize_scalar(
            lambda shape: -profile([L11, L12, last], shape),
            bounds=(0.5, 9.0),
            method="bounded",
            options={"xatol": 1e-9},
        ).x,
        rel=1e-6,
    )


def test_bracketed_lives_narrow_enough_give_the_limits_of_exact_ones() -> None:
    def narrowed(lot: LifeRecords) -> LifeRecords:
        failed = np.isfinite(lot.high_cycles)
        return life_records(
            np.where(failed, lot.low_cycles - 0.01, lot.low_cycles),
            np.where(failed, lot.high_cycles + 0.01, INF),
            counts=lot.counts.astype(int),
        )

    exact = evidence_of(LOTS)
    bracketed = evidence_of({name: narrowed(lot) for name, lot in LOTS.items()})
    assert bracketed.verdict == exact.verdict
    assert (bracketed.shape_low, bracketed.shape_high) == pytest.approx(
        (exact.shape_low, exact.shape_high), rel=1e-5
    )


def test_inspected_lots_have_a_wider_range_than_watched_ones() -> None:
    def inspected(lot: LifeRecords) -> LifeRecords:
        failed = np.isfinite(lot.high_cycles)
        low = np.floor(lot.low_cycles / 60) * 60
        return life_records(
            np.where(failed, low, lot.low_cycles),
            np.where(failed, np.minimum(low + 60, 200), INF),
            counts=lot.counts.astype(int),
        )

    watched, looked_at = evidence_of(LOTS), evidence_of({k: inspected(v) for k, v in LOTS.items()})
    assert looked_at.verdict == "USABLE"
    assert watched.shape_low is not UNSET and watched.shape_high is not UNSET
    assert looked_at.shape_low is not UNSET and looked_at.shape_high is not UNSET
    ratio = looked_at.shape_high / looked_at.shape_low
    assert ratio > watched.shape_high / watched.shape_low


@pytest.mark.parametrize("confidence", [0.0, 0.5, 1.0, math.nan])
def test_a_confidence_of_one_half_or_less_is_refused(confidence: float) -> None:
    with pytest.raises(OutsideDomainError):
        shape_evidence(LOTS, confidence=confidence)


@given(st.floats(1e-2, 1e6), st.floats(1e-2, 1e6))
@settings(max_examples=10, deadline=None)
def test_each_lot_may_count_its_cycles_in_its_own_unit(first: float, second: float) -> None:
    scaled = {
        name: LifeRecords(
            low_cycles=lot.low_cycles * factor,
            high_cycles=lot.high_cycles * factor,
            counts=lot.counts,
        )
        for (name, lot), factor in zip(LOTS.items(), (first, second), strict=True)
    }
    evidence, plain = evidence_of(scaled), evidence_of(LOTS)
    for field in ("shape", "lower_limit", "upper_limit", "shape_low", "shape_high"):
        assert getattr(evidence, field) == pytest.approx(getattr(plain, field), rel=1e-7)


@given(st.floats(0.55, 0.98))
@settings(max_examples=10, deadline=None)
def test_more_confidence_widens_the_range(confidence: float) -> None:
    less = shape_evidence(LOTS, confidence=confidence)
    more = shape_evidence(LOTS, confidence=confidence + 0.015)
    assert less.shape_low is not UNSET and less.shape_high is not UNSET
    assert more.shape_low is not UNSET and more.shape_high is not UNSET
    assert more.shape_low < less.shape_low < less.shape_high < more.shape_high


@pytest.mark.slow
@pytest.mark.parametrize(("lot_count", "units", "stop"), [(4, 12, 60.0), (3, 8, 96.0), (8, 4, INF)])
def test_each_end_of_the_range_holds_about_as_often_as_stated(
    lot_count: int, units: int, stop: float
) -> None:
    # 200 histories of shape 2, one-sided 0.90: standard error 0.02 on what the docstring says.
    rng = np.random.default_rng(30)
    low_holds, high_holds = [], []
    while len(low_holds) < 200:
        lots = {}
        for index in range(lot_count):
            lives = 100 * rng.weibull(2.0, units)
            lots[str(index)] = lives_with_run_outs(
                np.minimum(lives, stop) if stop < INF else lives, lives < stop
            )
        # LOTS_DIFFER withholds the range by design; a level near 0 shows it all the same.
        evidence = shape_evidence(lots, confidence=0.9, significance=1e-9)
        if evidence.shape_low is not UNSET and evidence.shape_high is not UNSET:
            low_holds.append(evidence.shape_low < 2.0)
            high_holds.append(evidence.shape_high > 2.0)
    assert 0.79 < np.mean(low_holds) < 0.95
    assert 0.85 < np.mean(high_holds) < 0.98
