"""References: exact fractions over whole small lots, and scipy.stats for large ones."""

import math
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import OutsideDomainError
from analysis.statistics.finite_lot import (
    finite_lot_acceptance,
    finite_lot_confidence,
    finite_lot_plan,
    nonconforming_upper,
)
from analysis.statistics.success_run import units_required
from schemas.estimates import NotEstimable
from schemas.finite_lots import FiniteLotPlan

CONFIDENCES = st.sampled_from([0.2, 0.5, 0.8, 0.9, 0.95, 0.99])


def at_most(count: int, lot: int, bad: int, drawn: int) -> Fraction:
    ways = sum(
        math.comb(bad, k) * math.comb(lot - bad, drawn - k) for k in range(min(count, drawn) + 1)
    )
    return Fraction(ways, math.comb(lot, drawn))


def exact(confidence: float) -> Fraction:
    """The decimal that was meant, not the binary number next to it."""
    return Fraction(str(confidence))


def plan(lot: int, acceptable: int, confidence: float, allowed: int) -> FiniteLotPlan:
    answer = finite_lot_plan(
        lot, max_nonconforming=acceptable, confidence=confidence, allowed_failures=allowed
    )
    assert isinstance(answer, FiniteLotPlan)
    return answer


@st.composite
def questions(draw: Any, most: int) -> tuple[int, int, int]:
    """A lot with an acceptable number of bad units and no more failures allowed than that."""
    lot = draw(st.integers(1, most))
    acceptable = draw(st.integers(0, lot - 1))
    return lot, acceptable, draw(st.integers(0, acceptable))


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.9, 0.95])
@pytest.mark.parametrize("lot", [1, 2, 7, 20])
def test_the_plan_is_the_smallest_sample_by_exact_count(lot: int, confidence: float) -> None:
    for acceptable in range(lot):
        for allowed in range(lot):
            enough = [
                drawn
                for drawn in range(lot + 1)
                if at_most(allowed, lot, acceptable + 1, drawn) <= 1 - exact(confidence)
            ]
            answer = finite_lot_plan(
                lot, max_nonconforming=acceptable, confidence=confidence, allowed_failures=allowed
            )
            if not enough:
                assert answer == NotEstimable(reason="CANNOT_BE_SHOWN")
                continue
            assert isinstance(answer, FiniteLotPlan)
            assert answer.unit_count == enough[0]
            reached = 1 - at_most(allowed, lot, acceptable + 1, enough[0])
            less = 1 - at_most(allowed, lot, acceptable + 1, enough[0] - 1)
            assert answer.confidence_reached == pytest.approx(float(reached), rel=1e-13)
            assert answer.confidence_one_unit_less == pytest.approx(float(less), rel=1e-13, abs=0)


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95])
@pytest.mark.parametrize("lot", [1, 6, 19])
def test_the_bound_is_the_largest_number_not_ruled_out(lot: int, confidence: float) -> None:
    for drawn in range(lot + 1):
        for found in range(drawn + 1):
            left = [
                bad
                for bad in range(found, lot - drawn + found + 1)
                if at_most(found, lot, bad, drawn) > 1 - exact(confidence)
            ]
            bound = nonconforming_upper(lot, drawn, found, confidence=confidence)
            assert bound.nonconforming_in_lot_upper == max(left)
            assert bound.nonconforming_remaining_upper == max(left) - found
            assert bound.conforming_fraction_lower == (lot - max(left)) / lot


def test_a_claim_is_unshowable_exactly_where_more_failures_are_allowed_than_bad_units() -> None:
    """Testing every unit of a lot with D + 1 bad ones finds all of them: c <= D is enough."""
    for acceptable, allowed in [(0, 1), (1, 2), (3, 9)]:
        answer = finite_lot_plan(
            1000, max_nonconforming=acceptable, confidence=0.1, allowed_failures=allowed
        )
        assert answer == NotEstimable(reason="CANNOT_BE_SHOWN")
    assert plan(1000, 3, 0.999999, 3).unit_count <= 1000


def test_full_inspection_may_be_what_it_takes() -> None:
    assert plan(10, 0, 0.95, 0).unit_count == 10
    assert plan(10, 0, 0.95, 0).confidence_reached == 1.0
    assert plan(10, 2, 0.999, 0).unit_count == 8  # N - D


@given(questions(most=100_000), CONFIDENCES)
def test_the_general_library_accepts_the_plan_and_no_smaller_one(
    question: tuple[int, int, int], confidence: float
) -> None:
    lot, acceptable, allowed = question
    units = plan(lot, acceptable, confidence, allowed).unit_count
    risk, more = stats.hypergeom.cdf(allowed, lot, acceptable + 1, [units, units - 1])
    assert risk <= (1 - confidence) * (1 + 1e-9)
    assert more > (1 - confidence) * (1 - 1e-9)


@given(questions(most=10_000_000), CONFIDENCES)
def test_a_confidence_reached_leads_back_to_its_sample(
    question: tuple[int, int, int], confidence: float
) -> None:
    lot, acceptable, allowed = question
    first = plan(lot, acceptable, confidence, allowed)
    if first.confidence_reached < 1.0:
        again = plan(lot, acceptable, first.confidence_reached, allowed)
        assert again.unit_count == first.unit_count


@given(questions(most=2_000_000), CONFIDENCES)
def test_plan_and_bound_are_two_sides_of_one_statement(
    question: tuple[int, int, int], confidence: float
) -> None:
    lot, acceptable, allowed = question
    units = plan(lot, acceptable, confidence, allowed).unit_count
    shown = nonconforming_upper(lot, units, allowed, confidence=confidence)
    assert shown.nonconforming_in_lot_upper <= acceptable
    if units - 1 >= allowed:
        less = nonconforming_upper(lot, units - 1, allowed, confidence=confidence)
        assert less.nonconforming_in_lot_upper > acceptable


@settings(max_examples=50)
@given(questions(most=50_000), CONFIDENCES)
def test_a_finite_lot_never_asks_for_more_units_than_an_endless_one(
    question: tuple[int, int, int], confidence: float
) -> None:
    """The lot at the edge of rejection holds D + 1 bad units: reliability 1 - (D + 1) / N."""
    lot, acceptable, allowed = question
    reliability = 1 - (acceptable + 1) / lot
    if reliability > 0 and allowed < acceptable:
        endless = units_required(reliability, confidence, allowed_failures=allowed)
        # With few bad units found the sample without putting back is the sharper one.
        if allowed <= (acceptable + 1) * endless / lot - 1:
            assert plan(lot, acceptable, confidence, allowed).unit_count <= endless


def test_a_very_large_lot_is_an_endless_one() -> None:
    for allowed in (0, 2):
        endless = units_required(0.95, 0.90, allowed_failures=allowed)
        assert plan(10**12, 5 * 10**10 - 1, 0.90, allowed).unit_count == endless


@given(questions(most=1000), st.integers(0, 1000))
def test_acceptance_and_confidence_are_complements(
    question: tuple[int, int, int], drawn: int
) -> None:
    lot, acceptable, allowed = question
    units = min(drawn, lot)
    shown = finite_lot_confidence(
        lot, units, max_nonconforming=acceptable, allowed_failures=allowed
    )
    passing = finite_lot_acceptance(
        lot, units, nonconforming=acceptable + 1, allowed_failures=allowed
    )
    assert shown + passing == pytest.approx(1, rel=1e-15)
    assert passing == pytest.approx(
        float(at_most(allowed, lot, acceptable + 1, units)), rel=1e-12, abs=1e-300
    )


@given(questions(most=5000))
def test_more_bad_units_pass_less_often(question: tuple[int, int, int]) -> None:
    lot, bad, allowed = question
    units = lot // 2
    better, worse = (
        finite_lot_acceptance(lot, units, nonconforming=number, allowed_failures=allowed)
        for number in (bad, bad + 1)
    )
    assert worse <= better * (1 + 1e-12)


def test_nothing_tested_rules_out_nothing() -> None:
    bound = nonconforming_upper(30, 0, 0, confidence=0.9)
    assert bound.nonconforming_in_lot_upper == 30
    assert bound.conforming_fraction_lower == 0.0
    assert finite_lot_confidence(30, 0, max_nonconforming=3, allowed_failures=0) == 0.0


def test_everything_tested_leaves_no_doubt() -> None:
    bound = nonconforming_upper(30, 30, 4, confidence=0.9999)
    assert (bound.nonconforming_in_lot_upper, bound.nonconforming_remaining_upper) == (4, 0)


def test_numbers_that_cannot_be_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match=r"max_nonconforming must be .* from 0 to 9"):
        finite_lot_plan(10, max_nonconforming=10, confidence=0.9, allowed_failures=0)
    with pytest.raises(OutsideDomainError, match="lot_size must be a whole number from 1"):
        finite_lot_plan(0, max_nonconforming=0, confidence=0.9, allowed_failures=0)
    with pytest.raises(OutsideDomainError, match=r"unit_count must be .* from 0 to 10, got 11"):
        nonconforming_upper(10, 11, 0, confidence=0.9)
    with pytest.raises(OutsideDomainError, match=r"failure_count must be .* from 0 to 5, got 6"):
        nonconforming_upper(10, 5, 6, confidence=0.9)
    with pytest.raises(OutsideDomainError, match="confidence must be a fraction"):
        nonconforming_upper(10, 5, 0, confidence=95)
    with pytest.raises(OutsideDomainError, match="nonconforming must be"):
        finite_lot_acceptance(10, 5, nonconforming=11, allowed_failures=0)
