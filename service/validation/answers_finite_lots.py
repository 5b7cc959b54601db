"""Published cases of lots of known size."""

from collections.abc import Callable
from typing import Any

from analysis.statistics.finite_lot import (
    finite_lot_confidence,
    finite_lot_plan,
    nonconforming_upper,
)
from schemas.estimates import NotEstimable

Values = dict[str, Any]


def finite_lot_sample_size(inputs: Values) -> Values:
    """A claim that no sample shows is answered with no number at all."""
    plan = finite_lot_plan(
        inputs["lot_size"],
        max_nonconforming=inputs["max_nonconforming"],
        confidence=inputs["confidence"],
        allowed_failures=inputs["accept"],
    )
    if isinstance(plan, NotEstimable):
        return {"n": None, "achieved_confidence": None, "confidence_at_n_minus_1": None}
    return {
        "n": plan.unit_count,
        "achieved_confidence": plan.confidence_reached,
        "confidence_at_n_minus_1": plan.confidence_one_unit_less,
    }


def finite_lot_upper_bound(inputs: Values) -> Values:
    bound = nonconforming_upper(
        inputs["lot_size"], inputs["n"], inputs["found"], confidence=inputs["confidence"]
    )
    return {
        "nonconforming_in_lot_upper": bound.nonconforming_in_lot_upper,
        "nonconforming_remaining_upper": bound.nonconforming_remaining_upper,
        "conforming_fraction_lower": bound.conforming_fraction_lower,
    }


def finite_lot_shown_confidence(inputs: Values) -> Values:
    confidence = finite_lot_confidence(
        inputs["lot_size"],
        inputs["n"],
        max_nonconforming=inputs["max_nonconforming"],
        allowed_failures=inputs["accept"],
    )
    return {"confidence": confidence}


METHODS: dict[str, Callable[[Values], Values]] = {
    "finite_lot.sample_size": finite_lot_sample_size,
    "finite_lot.upper_bound": finite_lot_upper_bound,
    "finite_lot.confidence": finite_lot_shown_confidence,
}
